package analysis

import (
	"fmt"
	"math"
	"slices"

	"abbed/analysis/model"
	"abbed/probe/record"
)

// along says how the lever points: the axis that it lies on to within 10 deg
// (a sixth of its length), or neither.
type along int

const (
	oblique along = iota
	alongX
	alongY
)

func pointing(l record.Lever) along {
	const sixth = 1.0 / 6
	switch {
	case math.Abs(l.X) <= sixth*l.Length():
		return alongY
	case math.Abs(l.Y) <= sixth*l.Length():
		return alongX
	}
	return oblique
}

// cause is what one part of the gap error makes where it makes most.
type cause struct {
	cost, u95 float64 // mm, with its sign
	seen      bool    // beyond its doubt
}

// most is a part of the gap error where it is largest, over a lattice on the gauged area.
func (e evidence) most(part func(p record.Place) model.Row) cause {
	var c cause
	for _, p := range e.Gap.lattice(7) {
		if v, u := e.Gap.surface.of(part(p)); math.Abs(v)-u > math.Abs(c.cost)-c.u95 || c.u95 == 0 {
			c = cause{v, u, math.Abs(v) > u}
		}
	}
	return c
}

// proven asks more than seen: beyond 1.6 times the 95 % half width (p about 0.002).
func (c cause) proven() bool { return c.seen && math.Abs(c.cost) > 1.6*c.u95 }

// worthSaying is the share of the tolerance from which a cause is named.
const worthSaying = 1.0 / 3

// causes names what makes the gap error, the dearest first, as far as the
// lever lets it be told (design/2). A bend along X needs the beam: the Y axis
// gives parts linear in x only. A slope along X is beam or Y axis alike: the beam is
// named first, unless the Y axis is proven to roll unevenly, which explains the
// even part as well. What changes along y alone is the Y axis' pitch; both need a
// lever along Y.
func (e evidence) causes() []Finding {
	sf, a, zero := e.Gap.surface, e.Gap.Area, e.Gap.Zero
	left := e.most(func(p record.Place) model.Row { return sf.left(p, zero) })
	bend := e.most(func(p record.Place) model.Row { return sf.bend(p.U, a.X0, a.X1, zero.V) })
	roll := e.most(func(p record.Place) model.Row { return sf.roll(p, zero) })
	pitch := e.most(func(p record.Place) model.Row { return sf.front(p, zero) })
	lever := pointing(e.run.Setup.Lever)
	type named struct {
		Finding
		cost float64
	}
	var all []named
	worth := worthSaying * e.run.Setup.Criteria.Tolerance
	add := func(c cause, ok bool, f Finding) {
		if ok && math.Abs(c.cost) > worth {
			f.Evidence = fmt.Sprintf("It costs up to %s ±%s at the nozzle inside the gauged area (95 %%). ", um(math.Abs(c.cost)), um(c.u95)) + f.Evidence
			all = append(all, named{f, math.Abs(c.cost)})
		}
	}
	// Below the tolerance a cause is named only when it is proven: one healthy
	// machine in twenty has a slope that leaves its 95 % interval by chance.
	large := math.Abs(left.cost) > e.run.Setup.Criteria.Tolerance
	beam, axis := e.byAngles(e.leftRight(lever, bend), lever)
	add(left, left.seen && large || left.proven(), beam)
	if axis != nil {
		y := e.ways.slopes.y
		add(cause{cost: y.Value / 2, u95: y.U95() / 2}, true, *axis)
	}
	add(roll, roll.proven(), e.bedRoll(lever))
	add(pitch, pitch.proven(), e.bedPitch(lever))
	// An uneven roll of the Y axis explains an even one as well: without a bend, which only
	// the beam makes, it comes before the beam, whatever it costs.
	first := func(n named) bool { return n.ID == BedRoll && roll.proven() && !bend.seen }
	slices.SortStableFunc(all, func(a, b named) int {
		if first(a) != first(b) {
			if first(a) {
				return -1
			}
			return 1
		}
		return cmp(b.cost, a.cost)
	})
	var fs []Finding
	var more []Finding
	for _, n := range all {
		if n.ID == Undetermined {
			more = append(more, n.Finding)
			continue
		}
		fs = append(fs, n.Finding)
	}
	return append(fs, more...)
}

const repairNext = "Decide: repair (with the printer off, check that beam and rails are straight, untwisted and tight, as the maker describes) or compensate with the correction table, if one is offered. "

// leftRight names what changes along X.
func (e evidence) leftRight(lever along, bend cause) Finding {
	l := e.run.Setup.Lever
	f := Finding{Next: repairNext}
	bent := bend.seen && math.Abs(bend.cost) > worthSaying*e.run.Setup.Criteria.Tolerance
	switch lever {
	case alongY:
		f.ID = BeamTwist
		f.Sentence = "The head rolls as it travels along X: the beam is twisted, or its rails are. The probe, beside the nozzle, sees a shape that is not there."
		f.Evidence = e.twistAngle(l)
		if bent {
			f.Doubt = "The gap error bends along X; with the lever along Y only the roll of the X carriage can do that."
		} else {
			f.Doubt = "The gap error is a straight slope along X. A Y axis that rolls evenly as it travels (bed-roll) would cost exactly the same; angle readings at the head, or a second lever, would tell them apart. For a correction it does not matter."
		}
	case alongX:
		f.ID = BeamPitch
		f.Sentence = "The head pitches as it travels along X, or the beam is not straight: the probe stands at another place of the beam than the nozzle."
		f.Evidence = fmt.Sprintf("The lever is %.1f mm along X and %.1f mm along Y.", l.X, l.Y)
		f.Doubt = "Pitch and straightness cost the same for a probe beside the nozzle along X; only their sum is measured. A straight reference and angle readings at the head would tell them apart."
	default:
		f.ID = HeadTilt
		f.Sentence = "The head tilts as it travels along X. About which axis, one oblique lever cannot say: roll and pitch both fit."
		f.Evidence = fmt.Sprintf("The lever is %.1f mm along X and %.1f mm along Y.", l.X, l.Y)
		f.Doubt = "A second lever (the probe mounted elsewhere) or angle readings at the head would tell roll from pitch and straightness"
		if !bent {
			f.Doubt += "; a Y axis that rolls evenly would cost the same too"
		}
		f.Doubt += ". For a correction it does not matter."
	}
	if s := e.Share; s != nil {
		f.Evidence += fmt.Sprintf(" Of the map's left-right shape %.0f %% (%.0f to %.0f %%) is lever error.", 100*s.Value, 100*s.Lo95, 100*s.Hi95)
	} else if e.ShareWhy != "" && e.Profile != nil {
		f.Evidence += " In the map it does not show: " + e.ShareWhy + "."
	}
	return f
}

// twistAngle says how far the head rolls over the gauged width: g = -D, D = py
// a, so that a = -(g(right) - g(left)) / py. Compared with what a profile's
// tolerance allows: ANSI H35.2, circumscribing circle below 40 mm, 3 deg per
// metre (an extruder's extract; design/4).
func (e evidence) twistAngle(l record.Lever) string {
	a := e.Gap.Area
	m := e.Gap.slopeAt(a.Middle().V).times(180/math.Pi/math.Abs(l.Y), "deg")
	perMetre := 1000 / math.Max(a.W(), 1)
	return fmt.Sprintf("Over %.0f mm the head rolls by %.2f ±%.2f deg in all (%.2f ±%.2f deg per metre; a 20 x 20 profile within ANSI H35.2 may twist by 3 deg per metre).",
		a.W(), math.Abs(m.Value), m.U95(), math.Abs(m.Value)*perMetre, m.U95()*perMetre)
}

// bedRoll names t s in the gap error.
func (e evidence) bedRoll(lever along) Finding {
	if lever == alongX {
		return e.unnamed("The left-right slope of the gap error changes from front to back. A lever along X gives no error motion of the Y axis the means to do that: the cause is not known.")
	}
	f := Finding{ID: BedRoll, Next: repairNext,
		Sentence: "The Y axis rolls unevenly as it travels: the left-right slope of the gap error changes from front to back.",
		Evidence: "Only a roll of the Y axis gives such a term (t s).",
		Doubt:    "An even part of that roll cannot be told from a twist of the beam.",
	}
	if e.run.Setup.Layout == record.MovingGantry {
		f.Sentence = "The beam as a whole rolls unevenly on its side rails as it travels along Y: the left-right slope of the gap error changes from front to back."
	}
	return f
}

// bedPitch names s alone in the gap error.
func (e evidence) bedPitch(lever along) Finding {
	if lever == alongX {
		return e.unnamed("The gap error changes from front to back, which a lever along X gives no error motion the means to do: the cause is not known.")
	}
	f := Finding{ID: BedPitch, Next: repairNext,
		Sentence: "The Y axis pitches as it travels, or is not straight: the gap error changes from front to back.",
		Evidence: "The term is the same for every x (s alone).",
		Doubt:    "Pitch and straightness of the Y axis cost the same; only their sum is measured.",
	}
	return f
}

func (e evidence) unnamed(sentence string) Finding {
	return Finding{ID: Undetermined, Sentence: sentence, Doubt: "The correction, if one is offered, rests on the gauging and not on the cause.",
		Next: "Check that the blade was drawn the same way at each place; gauge the corners once more."}
}
