package workshop

import "math"

// Roll is how fast the head rolls along the beam, rad per mm.
type Roll Value

// pitching is how far the head may pitch from one end of the beam to the other, rad: a
// beam within 1 mm per metre of straight (ANSI H35.2) is an arc whose ends differ by
// 8 x its height over its length.
const pitching = 8e-3

// RollOf is a twist, rad per mm over a width, as a lever along Y tells it; what the pitch
// may do to that, since the lever lies askew by the share px / py, is in the doubt.
func RollOf(twist Value, width, askew float64) Roll {
	return Roll{twist.Value, math.Hypot(twist.U, askew*pitching/width/2)}
}

// Side is the side of the beam that is too high at its right end, if the left is
// taken as right.
type Side string

// Sides.
const (
	Back    Side = "back"
	Front   Side = "front"
	Neither Side = "neither" // the interval holds zero
)

// Other is the side across the beam.
func (s Side) Other() Side { return map[Side]Side{Back: Front, Front: Back, Neither: Neither}[s] }

// High returns which side is too high at the right end.
func (r Roll) High() Side {
	switch u95 := Value(r).U95(); {
	case r.Value-u95 > 0:
		return Back
	case r.Value+u95 < 0:
		return Front
	}
	return Neither
}

// Lift is what undoes the roll at one end of the beam: under the fasteners of one
// bracket, spacing apart across the beam, or at one of two rails as far apart.
func (r Roll) Lift(mounting, spacing float64) Value {
	v := Cost(spacing, Value{r.Value * mounting, r.U * mounting})
	v.Value = math.Abs(v.Value)
	return v
}

// Rocking returns the gap under a free corner when a bare profile with this twist lies
// on a flat reference: the width on which it bears times the sine of its twist.
func (r Roll) Rocking(width, length float64) Value {
	// How far the edges are rounded differs by 1 mm (common practice, no source).
	v := r.Lift(length, width-Edges)
	v.U = math.Hypot(v.U, v.Value/(width-Edges))
	return v
}

// Blades returns which feeler gauges to try: the thickest that should go in (below
// the gap's interval), and the thinnest that should not; 0 where a set has none.
// Sets go from 0.05 to 1.00 mm (DIN 2275, second-hand); the steps are common
// practice, no source.
func Blades(gap Value) (in, out float64) {
	for k := 1; k <= 20; k++ {
		b := float64(k) * 0.05
		if b <= gap.Value-gap.U95() {
			in = b
		}
		if out == 0 && b >= gap.Value+gap.U95() {
			out = b
		}
	}
	return in, out
}
