package printfile

import (
	"fmt"
	"math"
	"math/bits"
)

// path is the way of a move, t from 0 to 1.
type path struct {
	x0, y0, z0 float64
	dx, dy, dz float64
	// Of an arc: middle, radii at both ends, angle at the start, angle swept.
	arc                bool
	cx, cy, r0, r1, a0 float64
	sweep              float64
}

func (p *path) at(t float64) (x, y, z float64) {
	z = p.z0 + t*p.dz
	if !p.arc {
		return p.x0 + t*p.dx, p.y0 + t*p.dy, z
	}
	if t == 1 {
		return p.x0 + p.dx, p.y0 + p.dy, z
	}
	s, c := math.Sincos(p.a0 + t*p.sweep)
	r := p.r0 + t*(p.r1-p.r0)
	return p.cx + r*c, p.cy + r*s, z
}

// finer returns how many more decimals X and Y need: one on an arc, whose radius
// they make, and along a way that climbs as many as what they are rounded by moves Z
// no more than its own rounding does.
func (p *path) finer() int {
	across, d := math.Hypot(p.dx, p.dy), 0
	if p.arc {
		across, d = math.Abs(p.sweep)*max(p.r0, p.r1), 1
	}
	if math.Abs(p.dz) > across {
		d += int(math.Ceil(math.Log10(math.Abs(p.dz) / across)))
	}
	return min(d, 4)
}

// move does a line with a move.
func (r *rewriter) move(b, text []byte, motion int) (done bool) {
	k := &r.k
	r.sum.Moves++
	if bare := k.bare & (axes | arcWords | bit('E')); bare != 0 {
		return r.refuse(fmt.Sprintf("the letter %c has no number", 'A'+bits.TrailingZeros32(bare)), "give the number")
	}
	if k.with('H') && k.word('H').n != 0 {
		return r.refuse("a move with H, which machines take as single motors, or as to a switch", sliceOther)
	}
	before := r.axes
	for a, c := range []byte(axesOf) {
		if k.with(c) {
			r.axes[a].goes(r.of(k.word(c).number))
		}
	}
	if r.far() {
		return true
	}
	across := k.has&(bit('X')|bit('Y')) != 0 || motion >= 2
	if !across && !k.with('Z') {
		return false
	}
	if !placed(r.axes[:]) {
		return r.untold(across)
	}
	lays := r.axes[inE].p > before[inE].p || r.axes[inE2].p > before[inE2].p
	moved := motion >= 2 || r.axes[inX].p != before[inX].p || r.axes[inY].p != before[inY].p
	if moved && lays && r.laid() {
		return true
	}
	started := placed(before[:])
	p := path{x0: mm(before[inX].p), y0: mm(before[inY].p), z0: mm(before[inZ].p)}
	p.dx, p.dy, p.dz = mm(r.axes[inX].p-before[inX].p), mm(r.axes[inY].p-before[inY].p), mm(r.axes[inZ].p-before[inZ].p)
	if motion >= 2 {
		r.sum.Arcs++
		if !started {
			return r.refuse("an arc from a place that the file has not named", "put a G0 or G1 with X, Y and Z before it")
		}
		if r.arc(&p, motion == 2) {
			return true
		}
	}
	r.cuts = append(r.cuts[:0], 1)
	if started && (p.arc || p.dx*p.dx+p.dy*p.dy > upright*upright) && min(p.z0, p.z0+p.dz) < r.sum.End {
		r.cuts = r.cuts[:0]
		r.cut(&p, 0, 1)
	}
	if len(r.cuts) > mostPieces {
		return r.refuse(fmt.Sprintf("the move would become more than %d pieces", mostPieces), "allow a larger tolerance")
	}
	return r.emit(b, text, &p, motion, &before)
}

// Places and E lead no farther from zero than this, mm: no desktop printer is as
// large, and no file feeds as much.
const (
	farthest = 100_000
	mostFed  = 1_000_000_000
)

// far refuses a move that leads out of this world.
func (r *rewriter) far() bool {
	most := int64(farthest)
	for a := range r.axes {
		if a == inE {
			most = mostFed
		}
		if p := r.axes[a].p; max(p, -p) > most*perMM {
			return r.refuse(fmt.Sprintf("%c leads farther than %d mm", axesOf[a], most), "is the line whole?")
		}
	}
	return false
}

// Beyond is how far outside the nodes of a correction plastic may be laid, mm: the
// nearest edge's addition holds there, and its doubt grows with the distance
// (design notes: as far from a gauged place a node refuses its table).
const Beyond = 60.0

// laid takes note of a move that lays plastic: of its layer, and of whether it ends
// outside the correction's nodes, where it is refused too far outside.
func (r *rewriter) laid() bool {
	x, y, z := mm(r.axes[inX].p), mm(r.axes[inY].p), r.axes[inZ].p
	if r.layers != nil {
		if r.layers.see(z) {
			r.err = errEnough
		}
		return r.err != nil
	}
	d := r.s.Outside(x, y)
	if d == 0 || r.weight(mm(z)) == 0 {
		return false
	}
	if d > Beyond {
		return r.refuse(fmt.Sprintf("plastic at (%.1f, %.1f), %.0f mm outside the nodes of the correction: at most %.0f mm is carried", x, y, d, Beyond),
			"move the part, or measure a map that reaches there")
	}
	r.sum.Outside++
	r.sum.Farthest = max(r.sum.Farthest, d)
	return false
}

// untold passes a move whose height above the bed is not known.
func (r *rewriter) untold(across bool) bool {
	k := &r.k
	if across && k.with('E') {
		if r.begun && r.lost != "" {
			return r.refuse("where the head is has not been said since "+r.lost, "put an absolute move with X, Y and Z after that line")
		}
		if r.sum.Untold++; r.sum.First == 0 {
			r.sum.First = r.sum.Lines
		}
	}
	r.actual = r.said()
	return false
}

// upright is how far a move may lead aside, mm, and count as one straight up or
// down, which is not cut: where on its way it is at which height is all the same.
const upright = 0.01

// mostPieces bounds what one move may become.
const mostPieces = 1 << 16

// cut adds to r.cuts so that on each piece of a part of the move the addition stays
// within the tolerance of the straight line between its ends: halves, as long as needed.
func (r *rewriter) cut(p *path, from, length float64) {
	if length >= 1e-6 && len(r.cuts) <= mostPieces && r.bulge(p, from, from+length) > r.o.Tolerance-r.quantum() {
		r.cut(p, from, length/2)
		r.cut(p, from+length/2, length/2)
		return
	}
	r.cuts = append(r.cuts, from+length)
}

// bulge bounds how far weight x Add is from its chord between t0 and t1. With
// the chord's a and w linear the product leaves its own chord by at most
// |da dw|/4; where the weight has a corner (at Full and End) by a quarter of
// the change of slope; what a itself bulges counts by the weight.
func (r *rewriter) bulge(p *path, t0, t1 float64) float64 {
	x0, y0, z0 := p.at(t0)
	x1, y1, z1 := p.at(t1)
	w0, w1 := r.weight(z0), r.weight(z1)
	if w0 == 0 && w1 == 0 {
		return 0
	}
	b := r.s.Bulge(x0, y0, x1, y1)
	if p.arc {
		// |arc(t) - chord(t)| <= r angle^2 / 8.
		angle := p.sweep * (t1 - t0)
		b += r.slope * max(p.r0, p.r1) * angle * angle / 8
	}
	if p.dz == 0 {
		return b * w0
	}
	a0, a1 := r.s.Add(x0, y0), r.s.Add(x1, y1)
	sum := b*max(w0, w1) + (math.Abs(a1-a0)+2*b)*math.Abs(w1-w0)/4
	for _, corner := range [...]float64{r.sum.Full, r.sum.End} {
		if (z0 < corner) != (z1 < corner) {
			sum += (max(math.Abs(a0), math.Abs(a1)) + b) * math.Abs(z1-z0) * r.fall / 4
		}
	}
	return sum
}

// weight is the part of the addition that holds at height z.
func (r *rewriter) weight(z float64) float64 {
	return min(max(1-(z-r.sum.Full)*r.fall, 0), 1)
}

// addition returns weight x Add.
func (r *rewriter) addition(x, y, z float64) float64 {
	w := r.weight(z)
	if w == 0 {
		return 0
	}
	return w * r.s.Add(x, y)
}
