package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// along says how the lever points: the axis that it lies on to within 10 deg
// (a sixth of its length), or neither.
type along int

const (
	Oblique along = iota
	AlongX
	alongY
)

func Pointing(l record.Lever) along {
	const sixth = 1.0 / 6
	switch {
	case math.Abs(l.X) <= sixth*l.Length():
		return alongY
	case math.Abs(l.Y) <= sixth*l.Length():
		return AlongX
	}
	return Oblique
}

// cause is what one part of the gap error makes where it makes most.
type cause struct {
	cost, u95 float64 // mm, with its sign
	seen      bool    // beyond its doubt
}

// most is a part of the gap error where it is largest, over a lattice on the gauged area.
func (e evidence) most(part func(p record.Place) model.Row) cause {
	var c cause
	for _, p := range Lattice(e.Gap.Area, 7, 7) {
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
func (e evidence) causes() []result.Finding {
	sf, a, zero := e.Gap.surface, e.Gap.Area, e.Gap.Zero
	left := e.most(func(p record.Place) model.Row { return sf.left(p, zero) })
	bend := e.most(func(p record.Place) model.Row { return sf.bend(p.U, a.X0, a.X1, zero.V) })
	roll := e.most(func(p record.Place) model.Row { return sf.roll(p, zero) })
	pitch := e.most(func(p record.Place) model.Row { return sf.front(p, zero) })
	lever := Pointing(e.run.Setup.Lever)
	type named struct {
		result.Finding
		cost float64
	}
	var all []named
	worth := worthSaying * e.run.Setup.Criteria.Tolerance
	add := func(c cause, ok bool, f result.Finding) {
		if ok && math.Abs(c.cost) > worth {
			f.Evidence = fmt.Sprintf("The nozzle error from it is up to %s ±%s. ", say.Fine(math.Abs(c.cost)), say.Fine(c.u95)) + f.Evidence
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
	first := func(n named) bool { return n.ID == result.BedRoll && roll.proven() && !bend.seen }
	slices.SortStableFunc(all, func(a, b named) int {
		if first(a) != first(b) {
			if first(a) {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.cost, a.cost)
	})
	var fs []result.Finding
	var more []result.Finding
	for _, n := range all {
		if n.ID == result.Undetermined {
			more = append(more, n.Finding)
			continue
		}
		fs = append(fs, n.Finding)
	}
	return append(fs, more...)
}

const repairNext = "Repair the printer or correct the bed map."

// leftRight names what changes along X.
func (e evidence) leftRight(lever along, bend cause) result.Finding {
	l := e.run.Setup.Lever
	f := result.Finding{Next: repairNext}
	bent := bend.seen && math.Abs(bend.cost) > worthSaying*e.run.Setup.Criteria.Tolerance
	switch lever {
	case alongY:
		f.ID = result.BeamTwist
		f.Sentence = "The head rolls as it travels along X. The beam is twisted, or its rails are."
		f.Evidence = e.twistAngle(l)
		if bent {
			f.Doubt = "The nozzle error bends along X. With this probe offset only the roll of the X carriage can do that."
		} else {
			f.Doubt = "The nozzle error is a straight slope along X. A Y axis that rolls evenly looks the same. Angle readings at the head, or another probe offset, show the difference. A correction is right for both."
		}
	case AlongX:
		f.ID = result.BeamPitch
		f.Sentence = "The head pitches as it travels along X, or the beam is not straight."
		f.Evidence = fmt.Sprintf("The lever is %.1f mm along X and %.1f mm along Y.", l.X, l.Y)
		f.Doubt = "Pitch and straightness look the same with this probe offset. A straight reference and angle readings at the head show the difference."
	default:
		f.ID = result.HeadTilt
		f.Sentence = "The head tilts as it travels along X. Roll and pitch both fit."
		f.Evidence = fmt.Sprintf("The lever is %.1f mm along X and %.1f mm along Y.", l.X, l.Y)
		f.Doubt = "Another probe offset or angle readings at the head show which."
		if !bent {
			f.Doubt += " A Y axis that rolls evenly looks the same too."
		}
		f.Doubt += " A correction is right for all of them."
	}
	if e.Share != nil {
		f.Evidence += shareSays(*e.Share)
	} else if e.ShareWhy != "" && e.Profile != nil {
		f.Evidence += " The bed map does not show it: " + e.ShareWhy + "."
	}
	return f
}

// twistAngle says how far the head rolls over the gauged width: g = -D, D = py
// a, so that a = -(g(right) - g(left)) / py. Compared with what a profile's
// tolerance allows: ANSI H35.2, circumscribing circle below 40 mm, 3 deg per
// metre (an extruder's extract; design/4).
func (e evidence) twistAngle(l record.Lever) string {
	a := e.Gap.Area
	m := e.Gap.slopeAt(a.Middle().V).Times(180/math.Pi/math.Abs(l.Y), "deg")
	perMetre := 1000 / math.Max(a.W(), 1)
	return fmt.Sprintf("Over %.0f mm the head rolls by %.2f ±%.2f°. That is %.2f ±%.2f °/m. ANSI H35.2 allows a 20 x 20 profile 3 °/m.",
		a.W(), math.Abs(m.Value), m.U95(), math.Abs(m.Value)*perMetre, m.U95()*perMetre)
}

// bedRoll names t s in the gap error.
func (e evidence) bedRoll(lever along) result.Finding {
	if lever == AlongX {
		return e.unnamed("The nozzle error differs from front to back, and the cause is not known.")
	}
	f := result.Finding{ID: result.BedRoll, Next: repairNext,
		Sentence: "The Y axis rolls unevenly as it travels.",
		Evidence: "The left-right slope of the nozzle error changes from front to back. Only a roll of the Y axis does that.",
		Doubt:    "An even part of that roll looks like a twist of the beam.",
	}
	if e.run.Setup.Layout == record.MovingGantry {
		f.Sentence = "The whole beam rolls unevenly on its side rails as it travels along Y."
	}
	return f
}

// bedPitch names s alone in the gap error.
func (e evidence) bedPitch(lever along) result.Finding {
	if lever == AlongX {
		return e.unnamed("The nozzle error changes from front to back, and the cause is not known.")
	}
	f := result.Finding{ID: result.BedPitch, Next: repairNext,
		Sentence: "The Y axis pitches as it travels, or is not straight.",
		Evidence: "The nozzle error changes from front to back, alike at left and right.",
		Doubt:    "Pitch and straightness of the Y axis look the same. Only their sum is known.",
	}
	return f
}

func (e evidence) unnamed(sentence string) result.Finding {
	return result.Finding{ID: result.Undetermined, Sentence: sentence, Doubt: "A correction rests on the readings and not on the cause.",
		Next: "Gauge the corners once more. Draw the gauge the same way each time."}
}
