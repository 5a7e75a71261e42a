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

// height decides the Z word that takes the head to the height want, mm; same
// says that the line's own word, or none, does it.
func (r *rewriter) height(want float64, own bool, word float64) (z number, same bool) {
	half := r.quantum() / 2
	if r.relative {
		d := want - r.actual
		if !own {
			word = 0
		}
		if math.Abs(d-word) < half {
			r.actual += word
			return z, true
		}
		z = rounded(d/r.scale, r.places)
		r.actual += z.value() * r.scale
		return z, false
	}
	if own && math.Abs(want-(word+r.shift)) < half {
		r.actual = word + r.shift
		return z, true
	}
	if !own && math.Abs(want-r.actual) < half {
		return z, true
	}
	z = rounded((want-r.shift)/r.scale, r.places)
	r.actual = z.value()*r.scale + r.shift
	return z, false
}

// emit writes the pieces of a move; the last is the line itself with its words
// changed where they must be.
func (r *rewriter) emit(b, text []byte, p *path, motion int, e0 [2]extruder) (done bool, err error) {
	k, n := &r.k, len(r.cuts)
	var c changes
	if n > 1 {
		if err := r.pieces(text, p, motion, e0, &c); err != nil {
			return false, err
		}
	}
	x, y, z := p.at(1)
	a := r.addition(x, y, z)
	r.note(a, z+a)
	word := 0.0
	if k.with('Z') {
		word = k.word('Z').value() * r.scale
		if r.relative && n > 1 {
			word = math.Inf(1) // the earlier pieces took part of it
		}
	}
	if v, same := r.height(z+a, k.with('Z'), word); !same {
		c.set('Z', v)
	}
	if c.has == 0 {
		return false, nil
	}
	r.sum.Changed++
	r.text = r.compose(r.text[:0], text, &c)
	r.text = append(r.text, b[len(text):]...)
	_, err = r.out.Write(r.text)
	return true, err
}

func (r *rewriter) note(a, z float64) {
	r.sum.Least, r.sum.Most = min(r.sum.Least, a), max(r.sum.Most, a)
	if a != 0 {
		r.begun = true
		r.sum.Lowest = min(r.sum.Lowest, z)
		if z < 0 {
			r.sum.Below++
		}
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
