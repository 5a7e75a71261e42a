package printfile

import "math"

// changes are the numbers of a line to replace or to add, and the words to drop.
type changes struct {
	has  uint32
	drop uint32
	with [26]number
}

func (c *changes) set(letter byte, v number) {
	c.has |= bit(letter)
	c.with[letter-'A'] = v
}

// origin is where a Z word of 0 leads.
func (r *rewriter) origin() int64 {
	if r.axes[inZ].relative {
		return r.actual
	}
	return r.shift
}

// said is where the line's own Z word leads, or where Z is without one.
func (r *rewriter) said() int64 {
	if !r.k.with('Z') {
		return r.actual
	}
	return r.origin() + r.of(r.k.word('Z').number)
}

// raised is the corrected height of a place of the way, mm, of which it takes note.
func (r *rewriter) raised(x, y, z float64) float64 {
	a := r.addition(x, y, z)
	r.note(a, z+a)
	return z + a
}

// height decides the Z word that takes the head to the height want, mm; same says that
// what the line says of Z, which leads to own, does it.
func (r *rewriter) height(want float64, own int64) (z number, same bool) {
	if math.Abs(want-mm(own)) < r.quantum()/2 {
		r.actual = own
		return z, true
	}
	z = rounded((want-mm(r.origin()))/r.scale, r.places)
	r.actual = r.origin() + r.of(z)
	return z, false
}

// emit writes the pieces of a move; the last is the line itself with its words
// changed where they must be.
func (r *rewriter) emit(b, text []byte, p *path, motion int, before *[len(axesOf)]axis) (done bool) {
	k, n, c := &r.k, len(r.cuts), &r.c
	c.has, c.drop = 0, 0
	if n > 1 && r.pieces(text, p, motion, before) {
		return true
	}
	own := r.said()
	if k.with('Z') && r.axes[inZ].relative && n > 1 {
		own = beyond // the earlier pieces took part of it
	}
	if v, same := r.height(r.raised(p.at(1)), own); !same {
		c.set('Z', v)
	}
	if c.has == 0 && n == 1 {
		return false
	}
	if k.checked {
		return r.refuse("the line carries a checksum and has to be changed", "slice the file without checksums")
	}
	r.sum.Changed++
	r.text = r.compose(r.text[:0], text, c)
	r.text = append(r.text, b[len(text):]...)
	_, err := r.out.Write(r.text)
	r.wrote(err)
	return true
}

func (r *rewriter) note(a, z float64) {
	r.sum.Least, r.sum.Most = min(r.sum.Least, a), max(r.sum.Most, a)
	if a == 0 {
		return
	}
	if !r.begun || z < r.sum.Lowest {
		r.begun, r.sum.Lowest = true, z
	}
	if z < 0 {
		r.sum.Below++
	}
}

// compose appends the line with its numbers changed and what is dropped left
// out; what it has not goes behind the last of X and Y, or else the command.
func (r *rewriter) compose(dst, text []byte, c *changes) []byte {
	k := &r.k
	after := -1
	if c.has&^k.has != 0 {
		for i, l := range k.order {
			if l == 'X' || l == 'Y' || after < 0 && (l == 'G' || l == 'Z') {
				after = i
			}
		}
	}
	from := 0
	for i, l := range k.order {
		switch {
		case l == 'G' || l == 'M':
		case c.drop&bit(l) != 0:
			dst = append(dst, text[from:k.spans[i][0]]...)
			from = k.spans[i][1]
		case c.has&bit(l) != 0:
			w := k.word(l)
			dst = c.with[l-'A'].append(append(dst, text[from:w.from]...))
			from = w.to
		}
		if i == after {
			dst = append(dst, text[from:k.spans[i][1]]...)
			from = k.spans[i][1]
			for _, l := range "XYZIJ" {
				if l := byte(l); c.has&bit(l) != 0 && !k.with(l) {
					dst = c.with[l-'A'].append(append(dst, ' ', l))
				}
			}
		}
	}
	return append(dst, text[from:]...)
}
