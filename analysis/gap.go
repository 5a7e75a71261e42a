package analysis

import "abbed/probe/record"

// Gap is the fitted gap error over the bed, as contrasts against the zero
// place. It is immutable.
type Gap struct {
	// Zero is the place where the gap error is zero by definition.
	Zero record.Place
	// Area is the rectangle around the gauged places; Margin how far beyond it
	// the gap error is still given, mm.
	Area   record.Rect
	Margin float64

	surface surface
}

// At returns the gap error at p, mm, against the zero place: + = the nozzle is
// too high there. u95 is the half width of the 95 % interval of the contrast.
// The reason is nil if p lies inside the gauged area with its margin;
// otherwise gap and u95 are 0.
func (g *Gap) At(p record.Place) (gap, u95 float64, reason *Reason) {
	if !finite(p.U) || !finite(p.V) {
		return 0, 0, &Reason{"not-a-place", "the place has no finite coordinates", "give x and y in mm"}
	}
	if !g.Area.Grown(g.Margin).Has(p) {
		return 0, 0, &Reason{"outside-gauged",
			"the place " + p.String() + " lies outside the gauged area",
			"gauge a place there, or within " + mm0(g.Margin) + " of it"}
	}
	gap, u95 = g.surface.contrast(p, g.Zero)
	return gap, u95, nil
}
