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

// share is a word that is shared out along a move, in the units of the file.
type share struct {
	letter   byte
	relative bool
	from     float64 // what it said at the move's start, if it is absolute
	whole    number  // what it says for the whole move, if it is relative
	given    int64   // of that, what the pieces so far have: all sum up exactly
	done     float64 // how far they lead, as written
}

// upTo returns what the piece says that ends v behind the start.
func (s *share) upTo(v float64) number {
	if !s.relative {
		w := rounded(s.from+v, s.whole.d)
		s.done = w.value() - s.from
		return w
	}
	before := s.given
	s.given = int64(math.Round(v * pow10[s.whole.d]))
	s.done = number{s.given, s.whole.d}.value()
	return number{s.given - before, s.whole.d}
}

func (s *share) rest() number { return number{s.whole.n - s.given, s.whole.d} }

// pieces writes all pieces but the last, and sets in r.c what the last must say.
func (r *rewriter) pieces(text []byte, p *path, motion int, before *[len(axesOf)]axis) bool {
	for _, l := range []byte("ABCHPUVW") {
		if r.k.with(l) {
			return r.refuse(fmt.Sprintf("the move is to be cut, but what %c does along it is not known", l), sliceOther)
		}
	}
	if r.k.with('E') && r.riddle(before[inE], before[inE2]) {
		return true
	}
	r.shareOut(p, before[inE])
	for i, t := range r.cuts[:len(r.cuts)-1] {
		r.text = r.text[:0]
		if i == 0 {
			r.others(text, true)
		}
		r.text = append(r.text, 'G', byte('0'+motion))
		if i == 0 {
			r.others(text, false)
		}
		r.piece(p, t)
		r.out.Write(append(r.text, r.end...)) // the last piece's write says what went wrong
	}
	r.sum.Cut++
	r.sum.Pieces += int64(len(r.cuts))
	for i := range r.shares {
		switch s := &r.shares[i]; {
		case s.letter == 0:
		case s.relative:
			r.c.set(s.letter, s.rest())
		case !r.k.with(s.letter):
			r.c.set(s.letter, rounded(mm(r.axes[i].p-r.axes[i].shift)/r.scale, placesEnd))
		}
	}
	if p.arc {
		i, j := r.middle(p)
		r.c.set('I', i)
		r.c.set('J', j)
		r.c.drop = bit('R')
	}
	return false
}

// riddle refuses E where it is not known how it counts, or where it stood.
func (r *rewriter) riddle(e, e2 axis) bool {
	if e.relative != e2.relative || !e.relative && (e.p-e.shift != e2.p-e2.shift || e.known != e2.known) {
		return r.refuse("the move is to be cut, and G90 and G91 change E on some machines",
			"say what yours does, or write M82 or M83 (and G92 E0) after it")
	}
	if !e.relative && !e.known {
		return r.refuse("the move is to be cut, but where E stands was never said", "put a G92 E0 before it")
	}
	if !r.modeSaid && r.sum.Assumed == 0 {
		r.sum.Assumed = r.sum.Lines
	}
	return false
}

// shareOut begins to share out X, Y and E.
func (r *rewriter) shareOut(p *path, e axis) {
	more := r.places - 4
	start := [...]float64{p.x0 - mm(r.axes[inX].shift), p.y0 - mm(r.axes[inY].shift), mm(e.p - e.shift)}
	for i, l := range []byte("XYE") {
		s := share{relative: r.axes[inX].relative, from: start[i] / r.scale, whole: number{0, placesXY + more + p.finer()}}
		if l == 'E' {
			s.relative, s.whole.d = e.relative, placesE+more
		}
		if r.k.with(l) {
			s.letter, s.whole = l, r.k.word(l).number.at(s.whole.d)
		} else if p.arc && l != 'E' {
			s.letter = l
		}
		r.shares[i] = s
	}
}

// others appends what else the line says, which the first piece says too: its G words
// that set modes, each with a blank behind it, or the words that are no G words, each
// with a blank before it.
func (r *rewriter) others(text []byte, modes bool) {
	for i, l := range r.k.order {
		span := text[r.k.spans[i][0]:r.k.spans[i][1]]
		if l != 'G' && !modes && bytes.IndexByte([]byte("XYZEIJRN"), l) < 0 {
			r.text = append(append(r.text, ' '), span...)
		} else if g, ok := first(span, 0); l == 'G' && modes && ok && g > 30 {
			r.text = append(append(r.text, span...), ' ')
		}
	}
}

// piece appends the words of the piece that ends at t.
func (r *rewriter) piece(p *path, t float64) {
	x, y, z := p.at(t)
	i, j := r.middle(p)
	r.part(0, (x-p.x0)/r.scale)
	r.part(1, (y-p.y0)/r.scale)
	if v, same := r.height(r.raised(x, y, z), r.actual); !same {
		r.say('Z', v)
	}
	if p.arc {
		r.say('I', i)
		r.say('J', j)
	}
	e := &r.shares[2]
	all := e.whole.value()
	if !e.relative {
		all -= e.from
	}
	r.part(2, t*all)
}

// part appends a share's word for the piece that ends v behind the start.
func (r *rewriter) part(i int, v float64) {
	if s := &r.shares[i]; s.letter != 0 {
		r.say(s.letter, s.upTo(v))
	}
}

func (r *rewriter) say(letter byte, v number) {
	r.text = v.append(append(r.text, ' ', letter))
}

// middle returns I and J of an arc from where the pieces so far lead.
func (r *rewriter) middle(p *path) (i, j number) {
	return rounded((p.cx-p.x0)/r.scale-r.shares[0].done, placesArc), rounded((p.cy-p.y0)/r.scale-r.shares[1].done, placesArc)
}
