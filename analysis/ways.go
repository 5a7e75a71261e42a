package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/model"
	"abbed/analysis/plate"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// ways is what the further ways to see have shown; each nil where not done.
type ways struct {
	reference *plate.Reference
	turned    *plate.Turned
	tilts     []tilted
	slopes    *slopes
	// straight is the bow of the carriage's way itself (EZX): what the
	// reference shows less the bend of the head that the gaugings show. Only
	// for a lever along Y.
	straight *result.Measured
}

// look takes reference and turned plate apart.
func look(run record.Run, s steady.Steadiness, sv *steady.Survey) ways {
	return ways{reference: plate.SeeReference(run, s, sv), turned: plate.SeeTurned(run, s, sv)}
}

// slopes is the left-right slope of the gap error over the gauged width, right end
// less left end, mm, taken apart by the angle readings.
type slopes struct{ beam, y result.Measured }

// tilted is what one angle of the head costs along X: right end of the gauged width
// less left end.
type tilted struct {
	quantity record.Quantity
	part     result.Measured // mm at the lever
	deg      result.Measured
}

// angles sets what needs the posterior.
func (w *ways) angles(run record.Run, g *gauged) {
	if g.gap == nil || run.Setup.NoLever() {
		return
	}
	sf, a := g.surface, g.gap.Area
	v, l := run.Setup.Zero.V, run.Setup.Lever
	ends := sf.row(record.Place{U: a.X1, V: v}).Minus(sf.row(record.Place{U: a.X0, V: v}))
	for _, q := range []struct {
		quantity record.Quantity
		of       model.Motion
	}{{record.QuantityRoll, model.EAX}, {record.QuantityPitch, model.EBX}} {
		if !g.has(byAngles, q.quantity) {
			continue
		}
		turn := sf.m.Angle(q.of, a.X1-l.X).Minus(sf.m.Angle(q.of, a.X0-l.X))
		deg := sf.measured(turn).Times(180/math.Pi, "deg")
		w.tilts = append(w.tilts, tilted{q.quantity, sf.measured(ends.Of(func(m model.Motion) bool { return m == q.of })), deg})
		if q.of == model.EAX && Pointing(l) == alongY {
			w.slopes = &slopes{beam: sf.measured(ends.Of(ofX)), y: sf.measured(ends.Of(ofY))}
		}
	}
	if r := w.reference; r != nil && Pointing(l) == alongY && g.has(byReference, "") {
		m := sf.measured(sf.wayBow(r.X0, r.X1))
		w.straight = &m
	}
}

// wayBow is the bow of the carriage's way itself with the probe between x0 and x1: its
// middle against its ends.
func (s surface) wayBow(x0, x1 float64) model.Row {
	at := func(u float64) model.Row { return s.m.Angle(model.EZX, u-s.m.Lever.X) }
	return at((x0 + x1) / 2).Minus(at(x0).Times(0.5)).Minus(at(x1).Times(0.5))
}

// byAngles rewrites the finding of the left-right slope where readings of the
// head's tilt say more; y is a second finding, of the Y axis, if they show one.
func (e evidence) byAngles(f result.Finding, lever along) (result.Finding, *result.Finding) {
	for _, why := range e.gauged.refused {
		f.Doubt += " " + why
	}
	if lever == alongY {
		return e.beamOrAxis(f)
	}
	slope := e.Gap.slopeAt(e.Gap.Area.Middle().V)
	total, u := slope.Value, slope.U95()
	for _, t := range e.ways.tilts {
		name, id := "roll", result.BeamTwist
		if t.quantity == record.QuantityPitch {
			name, id = "pitch", result.BeamPitch
		}
		rest := math.Abs(total - t.part.Value)
		f.Evidence += fmt.Sprintf(" At the head the %s is %s from left to right, which makes %s. In all the nozzle error changes by %s ±%s.",
			name, angle(t.deg), um2(t.part), say.Fine(total), say.Fine(u))
		if lever == Oblique && t.part.Apart() && rest <= math.Hypot(u, t.part.U95()) {
			f.ID = id
			f.Sentence = map[string]string{
				result.BeamTwist: "The head rolls as it travels along X. The beam is twisted, or its rails are.",
				result.BeamPitch: "The head pitches as it travels along X.",
			}[id]
			f.Doubt = fmt.Sprintf("The %s read at the head makes the whole slope (%s ±%s left).", name, say.Fine(total-t.part.Value), say.Fine(math.Hypot(u, t.part.U95())))
		}
		if lever == AlongX && t.quantity == record.QuantityPitch {
			f.Doubt = fmt.Sprintf("Of the left-right slope the pitch makes %s. The rest, %s ±%s, is the straightness of the beam.",
				um2(t.part), say.Fine(total-t.part.Value), say.Fine(math.Hypot(u, t.part.U95())))
		}
	}
	return f, nil
}

// beamOrAxis tells the beam from the Y axis by the roll readings.
func (e evidence) beamOrAxis(f result.Finding) (result.Finding, *result.Finding) {
	s := e.ways.slopes
	if s == nil {
		return f, nil
	}
	parts := fmt.Sprintf("Of the slope the beam makes %s, an even roll of the Y axis %s.", um2(s.beam), um2(s.y))
	axis := result.Finding{ID: result.BedRoll, Next: repairNext, Evidence: parts,
		Sentence: "The Y axis rolls evenly as it travels: the nozzle error slopes to one side, and the head rolls less along the beam.",
		Doubt:    "It rests on the angle readings at the head."}
	if e.run.Setup.Layout == record.MovingGantry {
		axis.Sentence = "The whole beam rolls evenly on its side rails as it travels along Y."
	}
	switch {
	case s.y.Apart() && !s.beam.Apart():
		return axis, nil
	case s.y.Apart():
		f.Doubt = "The angle readings at the head show both. " + parts
		return f, &axis
	case s.beam.Apart():
		f.Doubt = "The angle readings at the head show that it is not the Y axis. " + parts
	default:
		f.Doubt += " The angle readings at the head are too coarse to show which. " + parts
	}
	return f, nil
}

// um2 and angle write a measured length and a measured angle for people.
func um2(m result.Measured) string {
	return fmt.Sprintf("%s ±%s", say.Fine(m.Value), say.Fine(m.U95()))
}
func angle(m result.Measured) string {
	return fmt.Sprintf("%s ±%s", say.Degrees(m.Value), say.Degrees(m.U95()))
}
