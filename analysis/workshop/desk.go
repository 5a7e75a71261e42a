package workshop

import (
	"errors"
	"fmt"
	"math"
)

// Roll is how far the head rolls between two places along the beam, rad.
type Roll struct {
	From, To float64 // along X, mm
	Roll     Value
}

// FromGap returns the roll that a change of the gap error makes: g = -D, D = py
// sin a (design notes: geometry), so a = -asin(change / py).
func FromGap(from, to float64, change Value, leverY float64) (Roll, error) {
	if !(to > from) {
		return Roll{}, fmt.Errorf("workshop: a way from %g to %g mm: it leads to the right", from, to)
	}
	sin := -change.Value / leverY
	if math.IsNaN(sin) || math.Abs(sin) >= 1 {
		return Roll{}, errors.New("workshop: a lever that short along Y does not make this gap error: the roll cannot be told from it")
	}
	a := math.Asin(sin)
	return Roll{from, to, Value{a, change.U / math.Abs(leverY) / math.Cos(a)}}, nil
}

// Over returns the roll over another length of the same even twist.
func (r Roll) Over(length float64) Value {
	k := length / (r.To - r.From)
	return Value{r.Roll.Value * k, r.Roll.U * k}
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

// High returns which side is too high at the right end.
func (r Roll) High() Side {
	switch {
	case r.Roll.Value-r.Roll.U95() > 0:
		return Back
	case r.Roll.Value+r.Roll.U95() < 0:
		return Front
	}
	return Neither
}

// Shim is what undoes a twist at one bracket.
type Shim struct {
	Thick Value // under the side that is too low
	Under Side  // at the right end; at the left the other one
}

// Shim returns the twist over the mounting length x the spacing of the bracket's
// fasteners across the beam. It goes under the low side of the right bracket, or
// under the other side of the left one.
func (r Roll) Shim(mounting, spacing float64) Shim {
	t := Cost(spacing, r.Over(mounting))
	t.Value = math.Abs(t.Value)
	under := map[Side]Side{Back: Front, Front: Back, Neither: Neither}
	return Shim{t, under[r.High()]}
}

// Rocking returns the gap under the fourth corner when a profile with this twist
// lies on a flat reference: width x sine of the twist over its length.
func (r Roll) Rocking(width, length float64) Value {
	g := Cost(width, r.Over(length))
	g.Value = math.Abs(g.Value)
	return g
}

// Blades returns which feeler blades to try: the thickest that should go in (below
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

// Lever returns the gap error between the ends of r with the probe mounted
// elsewhere along Y: -py sin a. Straightness is the same wherever it is.
func (r Roll) Lever(y float64) Value {
	v := Cost(y, r.Roll)
	v.Value = -v.Value
	return v
}

// Rail is what to do to one of two rails that carry the head.
type Rail struct {
	Raise Value // mm, at its right end; or lower the other one there
	Which Side  // of the two
}

// Rails returns by how much one of two rails, apart mm from each other, has to be
// raised at its right end to undo the twist over the mounting length.
func (r Roll) Rails(mounting, apart float64) Rail {
	s := r.Shim(mounting, apart)
	return Rail{s.Thick, s.Under}
}

// After is what a shim of the given thickness leaves of a gap error over the way
// of r: the change that was measured, less that of the shim, whose thickness is
// good to u, mm. What is left carries the doubt of both.
func (r Roll) After(leverY, mounting, spacing, thick, u float64) Value {
	over := r.Over(mounting)
	undone := Value{math.Asin(math.Min(thick/spacing, 1)), u / spacing}
	k := (r.To - r.From) / mounting
	left := Value{(math.Abs(over.Value) - undone.Value) * k, math.Hypot(over.U, undone.U) * k}
	return Cost(math.Abs(leverY), left)
}
