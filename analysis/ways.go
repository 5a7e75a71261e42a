package analysis

import (
	"fmt"
	"math"

	"abbed/probe/record"
)

// ways is what the further ways to see have shown; each nil where not done.
type ways struct {
	reference *referenceSeen
	turned    *turnedSeen
	tilts     []tilted
	slopes    *slopes
	// straight is the bow of the carriage's way itself (EZX): what the
	// reference shows less the bend of the head that the gaugings show. Only
	// for a lever along Y.
	straight *Measured
}

// look takes reference and turned plate apart.
func look(run record.Run, s steadiness, sv *survey) ways {
	return ways{reference: seeReference(run, s, sv), turned: seeTurned(run, s, sv)}
}

// machine returns the machine's own left-right bend: a reference shows it best,
// a turned plate in part; nil without either.
func (w *ways) machine(p *Profile) *Profile {
	switch {
	case w.reference != nil:
		return w.reference.machine
	case w.turned != nil:
		return w.turned.machine(p)
	}
	return nil
}

// angles sets what needs the gaugings' fit as well.
func (w *ways) angles(run record.Run, g *gauged) {
	if g.gap == nil || run.Setup.NoLever() {
		return
	}
	w.tilts = tilts(run, g.gap.Area)
	w.slopes = g.split()
	if w.reference == nil || pointing(run.Setup.Lever) != alongY {
		return
	}
	// On the reference stands -(EZX + D), in the gap error -D.
	sf := g.alone
	if len(sf.members) == 0 {
		sf = g.surface
	}
	r := w.reference
	head, u, dof := sf.bow(r.machine.Columns[0].At, r.machine.Columns[len(r.machine.Columns)-1].At, run.Setup.Zero.V)
	m := measured(head-r.bow.Value, math.Hypot(u, r.bow.U), dof, "mm")
	w.straight = &m
}

// bow returns the middle of the gap error against its ends x0 and x1 along a
// row at v, with its standard uncertainty and degrees of freedom.
func (s surface) bow(x0, x1, v float64) (bow, u, dof float64) {
	ends := [2]record.Place{{U: x0, V: v}, {U: x1, V: v}}
	mid := record.Place{U: (x0 + x1) / 2, V: v}
	vs := make([]float64, len(s.members))
	variance := 0.0
	us := make([]float64, len(s.members))
	for i, m := range s.members {
		c := s.frame.row(m.terms, mid)
		a, b := s.frame.row(m.terms, ends[0]), s.frame.row(m.terms, ends[1])
		for k := range c {
			c[k] -= (a[k] + b[k]) / 2
		}
		vs[i], us[i] = m.fit.Predict(c), m.s2*m.fit.Variance(c)
		bow += m.weight * vs[i]
		dof += m.weight * m.dof
	}
	for i, m := range s.members {
		variance += m.doubt * (us[i] + (vs[i]-bow)*(vs[i]-bow))
	}
	return bow, math.Sqrt(variance), math.Max(dof, 1)
}

// byAngles rewrites the finding of the left-right slope where readings of the
// head's tilt say more; y is a second finding, of the Y axis, if they show one.
func (e evidence) byAngles(f Finding, lever along) (Finding, *Finding) {
	for _, why := range e.gauged.refused {
		f.Doubt += " " + why
	}
	if lever == alongY {
		return e.beamOrAxis(f)
	}
	total, u := e.slopeOfGap()
	for _, t := range e.ways.tilts {
		name, id := "roll", BeamTwist
		if t.quantity == record.QuantityPitch {
			name, id = "pitch", BeamPitch
		}
		rest := math.Abs(total - t.part.Value)
		f.Evidence += fmt.Sprintf(" By the readings at the head its %s is %s from left to right, which costs %s; in all the gap error falls or rises by %s ± %s.",
			name, angle(t.deg), um2(t.part), um(total), um(u))
		if lever == oblique && t.part.Apart() && rest <= math.Hypot(u, t.part.U95()) {
			f.ID = id
			f.Sentence = map[string]string{
				BeamTwist: "The head rolls as it travels along X: the beam is twisted, or its rails are.",
				BeamPitch: "The head pitches as it travels along X.",
			}[id]
			f.Doubt = fmt.Sprintf("The %s that was read at the head makes the whole slope to within the doubt (%s left ± %s).", name, um(total-t.part.Value), um(math.Hypot(u, t.part.U95())))
		}
		if lever == alongX && t.quantity == record.QuantityPitch {
			f.Doubt = fmt.Sprintf("Of the left-right slope the pitch makes %s by the readings; what is left, %s ± %s, is the straightness of the beam.",
				um2(t.part), um(total-t.part.Value), um(math.Hypot(u, t.part.U95())))
		}
	}
	return f, nil
}

// slopeOfGap is the left-right slope of the gap error: right end less left end
// of the gauged width, its straight part only.
func (e evidence) slopeOfGap() (v, u95 float64) {
	a := e.Gap.Area
	y := a.Middle().V
	return e.Gap.surface.part(record.Place{U: a.X1, V: y}, record.Place{U: a.X0, V: y}, func(t term) bool { return t == termT })
}

// beamOrAxis tells the beam from the Y axis by the roll readings.
func (e evidence) beamOrAxis(f Finding) (Finding, *Finding) {
	s := e.ways.slopes
	if s == nil {
		return f, nil
	}
	parts := fmt.Sprintf("Of the left-right slope over the gauged width the beam makes %s by the angle readings at the head, an even roll of the Y axis %s (95 %%).", um2(s.beam), um2(s.y))
	axis := Finding{ID: BedRoll, Next: repairNext, Evidence: parts,
		Sentence: "The Y axis rolls evenly as it travels: the gap error slopes from left to right, and the head does not roll that much along the beam.",
		Doubt:    "It rests on the angle readings at the head; their doubt is in the numbers."}
	if e.run.Setup.Layout == record.MovingGantry {
		axis.Sentence = "The beam as a whole rolls on its side rails as it travels along Y: the gap error slopes from left to right, and the head does not roll that much along the beam."
	}
	switch {
	case s.y.Apart() && !s.beam.Apart():
		return axis, nil
	case s.y.Apart():
		f.Doubt = "Both were told apart by angle readings at the head. " + parts
		return f, &axis
	case s.beam.Apart():
		f.Doubt = "Proven against an even roll of the Y axis by angle readings at the head. " + parts
	default:
		f.Doubt += " The angle readings at the head are too coarse to tell them apart: " + parts
	}
	return f, nil
}

// um2 and angle write a measured length and a measured angle for people.
func um2(m Measured) string   { return fmt.Sprintf("%s ± %s", um(m.Value), um(m.U95())) }
func angle(m Measured) string { return fmt.Sprintf("%.2f ± %.2f deg", m.Value, m.U95()) }
