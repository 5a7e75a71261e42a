package printfile

import (
	"bytes"
	"fmt"
	"math"
)

// Decimals of what is written for the pieces of a move; two more in inches.
const (
	placesE   = 6
	placesXY  = 4
	placesArc = 6
	placesEnd = 9 // an end that the line did not name: nothing may add up
)

// share is a number shared out along a move, exactly: what the pieces get sums
// up to the whole.
type share struct {
	whole number
	given int64
}

// upTo returns what is to be given so that v is given in all.
func (s *share) upTo(v float64) number {
	sum := int64(math.Round(v * pow10[s.whole.d]))
	piece := number{sum - s.given, s.whole.d}
	s.given = sum
	return piece
}

func (s *share) rest() number { return number{s.whole.n - s.given, s.whole.d} }

// cutter writes the pieces of one move.
type cutter struct {
	r        *rewriter
	p        *path
	places   int
	xy       [2]share // of relative words
	e        share
	relative bool // E
	e0, e1   float64
	at       [2]float64 // the place that the pieces so far lead to
}

// pieces writes all pieces but the last, and sets in c what the last must say.
func (r *rewriter) pieces(text []byte, p *path, motion int, e0 [2]extruder, c *changes) error {
	k := &r.k
	for _, l := range "ABCHPUVW" {
		if k.with(byte(l)) {
			return r.refuse(fmt.Sprintf("the move is to be cut, but what %c does along it is not known", l), "slice the file without it")
		}
	}
	m := cutter{r: r, p: p, places: placesXY + r.places - 4 + p.finer(), at: [2]float64{p.x0, p.y0}}
	if err := m.extruding(e0); err != nil {
		return err
	}
	for a, l := range "XY" {
		m.xy[a].whole.d = m.places
		if k.with(byte(l)) {
			m.xy[a].whole = k.word(byte(l)).number.at(m.places)
		}
	}
	for i, t := range r.cuts[:len(r.cuts)-1] {
		r.text = r.begin(r.text[:0], text, motion, i == 0)
		m.piece(t)
		r.text = append(r.text, r.end...)
		if _, err := r.out.Write(r.text); err != nil {
			return err
		}
	}
	r.sum.Cut++
	r.sum.Pieces += int64(len(r.cuts))
	m.last(c)
	return nil
}

// extruding finds how E counts, and where it stood.
func (m *cutter) extruding(e [2]extruder) error {
	r := m.r
	if !r.k.with('E') {
		return nil
	}
	if e[0].relative != e[1].relative || !e[0].relative && (e[0].at != e[1].at || e[0].known != e[1].known) {
		return r.refuse("the move is to be cut, and machines differ in whether G90 and G91, which came before, change E too",
			"say which yours does, or write M82 or M83 (and a G92 E0) after the G90 or G91")
	}
	if !e[0].relative && !e[0].known {
		return r.refuse("the move is to be cut, but where E stands was never said", "put a G92 E0 before it")
	}
	if !r.modeSaid && r.sum.Assumed == 0 {
		r.sum.Assumed = r.sum.Lines
	}
	m.e.whole = r.k.word('E').number.at(placesE + r.places - 4)
	m.relative, m.e0, m.e1 = e[0].relative, mm(e[0].at)/r.scale, r.k.word('E').value()
	return nil
}

// begin appends the piece's command; the first piece has all other words of the
// line too.
func (r *rewriter) begin(dst, text []byte, motion int, isFirst bool) []byte {
	if isFirst {
		dst = r.others(dst, text, true)
	}
	dst = append(dst, 'G', byte('0'+motion))
	if isFirst {
		dst = r.others(dst, text, false)
	}
	return dst
}

// others appends the G words that set modes, each with a blank behind it, or the
// words that are no G words, each with a blank before it.
func (r *rewriter) others(dst, text []byte, modes bool) []byte {
	for i, l := range r.k.order {
		span := text[r.k.spans[i][0]:r.k.spans[i][1]]
		switch {
		case l == 'G' && modes:
			if g, ok := first(span, 0); !ok || g > 30 {
				dst = append(append(dst, span...), ' ')
			}
		case l != 'G' && !modes && bytes.IndexByte([]byte("XYZEIJRN"), l) < 0:
			dst = append(append(dst, ' '), span...)
		}
	}
	return dst
}

// piece appends the words of the piece that ends at t.
func (m *cutter) piece(t float64) {
	r, k := m.r, &m.r.k
	x, y, z := m.p.at(t)
	add := r.addition(x, y, z)
	r.note(add, z+add)
	from := m.at
	m.place(x, y)
	if v, same := r.height(z+add, false, 0); !same {
		r.text = v.append(append(r.text, ' ', 'Z'))
	}
	if m.p.arc {
		i, j := m.middle(from)
		r.text = i.append(append(r.text, ' ', 'I'))
		r.text = j.append(append(r.text, ' ', 'J'))
	}
	if !k.with('E') {
		return
	}
	v := rounded(m.e0+t*(m.e1-m.e0), m.e.whole.d)
	if m.relative {
		v = m.e.upTo(t * m.e1)
	}
	r.text = v.append(append(r.text, ' ', 'E'))
}

// place appends X and Y, and keeps where they lead as written.
func (m *cutter) place(x, y float64) {
	r := m.r
	start := [2]float64{m.p.x0, m.p.y0}
	for a, v := range [2]float64{x, y} {
		l := "XY"[a]
		if !r.k.with(l) && !m.p.arc {
			continue
		}
		var w number
		if r.relative {
			w = m.xy[a].upTo((v - start[a]) / r.scale)
			m.at[a] = start[a] + number{m.xy[a].given, w.d}.value()*r.scale
		} else {
			w = rounded((v-mm(r.axes[a].shift))/r.scale, m.places)
			m.at[a] = w.value()*r.scale + mm(r.axes[a].shift)
		}
		r.text = w.append(append(r.text, ' ', l))
	}
}

// middle returns I and J from a piece's start.
func (m *cutter) middle(from [2]float64) (i, j number) {
	s := m.r.scale
	return rounded((m.p.cx-from[0])/s, placesArc), rounded((m.p.cy-from[1])/s, placesArc)
}

// last sets what the line itself, now the last piece, must say.
func (m *cutter) last(c *changes) {
	r, k := m.r, &m.r.k
	for a, l := range "XY" {
		switch {
		case r.relative && (k.with(byte(l)) || m.p.arc):
			c.set(byte(l), m.xy[a].rest())
		case m.p.arc && !k.with(byte(l)):
			c.set(byte(l), rounded(mm(r.axes[a].p-r.axes[a].shift)/r.scale, placesEnd))
		}
	}
	if m.p.arc {
		i, j := m.middle(m.at)
		c.set('I', i)
		c.set('J', j)
		c.drop = bit('R')
	}
	if k.with('E') && m.relative {
		c.set('E', m.e.rest())
	}
}
