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
func (v Verdict) Rates(l record.Lever) Rates {
	if v.Gap == nil || v.Gap.Area.W() < apart || l.None() {
		return Rates{}
	}
	a := v.Gap.Area
	row := a.Middle().V
	change, u95 := v.Gap.surface.contrast(record.Place{U: a.X1, V: row}, record.Place{U: a.X0, V: row})
	rate := func(arm float64) *Measured {
		value, half := change/(arm*a.W()), math.Abs(u95/(arm*a.W()))
		if math.IsNaN(value) || math.IsNaN(half) || math.IsInf(value, 0) || math.IsInf(half, 0) {
			return nil
		}
		return &Measured{Value: value, U: half / z95, Lo95: value - half, Hi95: value + half, Unit: "rad/mm", DoF: math.Inf(1)}
	}
	switch pointing(l) {
	case alongY:
		return Rates{Twist: rate(-l.Y)}
	case alongX:
		return Rates{Pitch: rate(l.X)}
	}
	return Rates{}
}
