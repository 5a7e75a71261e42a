package printfile

import (
	"fmt"
	"math"
)

// radiiDiffer is by how much the radii at both ends of an arc may differ, mm.
// RS-274/NGC allows 0.002 mm; sliced files round to 0.001 mm in six words, which
// gives up to 0.003 mm, and old ones to 0.01 mm. A judgement of ours, no source.
const radiiDiffer = 0.02

// sameEnd is how far apart the ends of an arc may be that machines which reckon with
// 24 binary digits take for one place, mm: at 500 mm such a number has steps of
// 0.00003 mm (IEEE 754).
const sameEnd = 1e-4

// arc fills in what makes p an arc: of the forms with I and J (from the start to
// the middle) and with R (a negative one is the longer arc), RS-274/NGC 3.5.3.
func (r *rewriter) arc(p *path, clockwise bool) bool {
	k := &r.k
	switch {
	case r.plane != 170:
		return r.refuse(fmt.Sprintf("an arc in the plane of G%s", name(r.plane)), "only arcs in X and Y (G17) can be carried: slice the file without arcs")
	case k.with('K'):
		return r.refuse("an arc in X and Y with K", "slice the file without arcs")
	case k.with('P'):
		return r.refuse("an arc of several turns (P)", "slice the file without arcs")
	}
	p.arc = true
	i, j := k.with('I'), k.with('J')
	switch {
	case k.with('R') && (i || j):
		return r.refuse("an arc with R and with I or J", "give one of them")
	case k.with('R'):
		if r.byRadius(p, clockwise) {
			return true
		}
	case i || j:
		p.cx, p.cy = p.x0, p.y0
		if i {
			p.cx += mm(r.of(k.word('I').number))
		}
		if j {
			p.cy += mm(r.of(k.word('J').number))
		}
	default:
		return r.refuse("an arc without I, J or R", "is the line whole?")
	}
	return r.sweep(p, clockwise)
}

// byRadius finds the middle from R.
func (r *rewriter) byRadius(p *path, clockwise bool) bool {
	radius := mm(r.of(r.k.word('R').number))
	d := math.Hypot(p.dx, p.dy)
	if d == 0 {
		return r.refuse("an arc with R that ends where it begins: it has no middle", "write full circles with I and J")
	}
	h2 := radius*radius - d*d/4
	if h2 < 0 {
		if 2*math.Abs(radius)+radiiDiffer < d {
			return r.refuse(fmt.Sprintf("an arc with R %g mm between ends %g mm apart", radius, d), "is the line whole?")
		}
		h2 = 0
	}
	// To the left of the way for the shorter arc that turns left.
	h := math.Sqrt(h2) / d
	if clockwise != (radius < 0) {
		h = -h
	}
	p.cx, p.cy = p.x0+p.dx/2-h*p.dy, p.y0+p.dy/2+h*p.dx
	return false
}

// sweep fills in radii and angles.
func (r *rewriter) sweep(p *path, clockwise bool) bool {
	x1, y1 := p.x0+p.dx, p.y0+p.dy
	p.r0, p.r1 = math.Hypot(p.x0-p.cx, p.y0-p.cy), math.Hypot(x1-p.cx, y1-p.cy)
	if math.Abs(p.r1-p.r0) > radiiDiffer {
		return r.refuse(fmt.Sprintf("the radii at the arc's ends are %.4f and %.4f mm", p.r0, p.r1), "is the line whole? Slice the file without arcs")
	}
	if p.r0 < 1e-9 {
		return r.refuse("an arc of no radius", "is the line whole?")
	}
	p.a0 = math.Atan2(p.y0-p.cy, p.x0-p.cx)
	p.sweep = math.Atan2(y1-p.cy, x1-p.cx) - p.a0
	switch apart := math.Hypot(p.dx, p.dy); {
	case apart == 0:
		p.sweep = 0
	case apart < sameEnd:
		return r.refuse(fmt.Sprintf("an arc between ends %g mm apart: machines differ in whether it is a whole circle", apart), "let it end exactly where it begins, or leave it out")
	}
	for clockwise && p.sweep >= 0 {
		p.sweep -= 2 * math.Pi
	}
	for !clockwise && p.sweep <= 0 {
		p.sweep += 2 * math.Pi
	}
	return false
}
