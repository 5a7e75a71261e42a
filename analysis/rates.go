package analysis

import (
	"math"

	"abbed/probe/record"
)

// Rates are how fast the head tilts on its way along X, rad per mm; each with a
// 95 % interval. One lever tells one of them at most.
type Rates struct {
	// Twist is the change of the head's roll per way, told by a lever along Y;
	// nil if not told.
	Twist *Measured
	// Pitch is the change of the head's pitch per way, told by a lever along X;
	// nil if not told. The straightness of the beam costs the same and is in it.
	Pitch *Measured
}

// Rates returns how fast the head tilts along X, from end to end of the gauged
// width at its middle row: with g = -py a + px b (doc.go),
//
//	twist = -(g(right) - g(left)) / (py W)      pitch = (g(right) - g(left)) / (px W)
//
// An even roll of the Y axis costs the same as the twist and is in it; a bend
// that comes back to where it began is not. Both are nil without a Gap, without
// two columns, and for an oblique lever, whose roll and pitch both fit.
func (v Verdict) Rates(l record.Lever) (r Rates) {
	if v.Gap == nil || v.Gap.Area.W() < apart || l.None() {
		return r
	}
	change := v.Gap.slopeAt(v.Gap.Area.Middle().V)
	switch m := change.times(1/v.Gap.Area.W(), "rad/mm"); pointing(l) {
	case alongY:
		m = m.times(-1/l.Y, m.Unit)
		r.Twist = &m
	case alongX:
		m = m.times(1/l.X, m.Unit)
		r.Pitch = &m
	}
	return r
}

// slopeAt is the left-right slope of the gap error in a row: right end less left end of
// the gauged width.
func (g *Gap) slopeAt(v float64) Measured {
	gap, u95 := g.surface.contrast(record.Place{U: g.Area.X1, V: v}, record.Place{U: g.Area.X0, V: v})
	return measured(gap, u95/z95, math.Inf(1), "mm")
}
