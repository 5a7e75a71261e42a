package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Elsewhere is the gap error that this machine would have with the probe mounted
// at another place of the head.
type Elsewhere struct {
	Lever record.Lever
	// Why says why it cannot be told, and what to measure; nil if it can.
	Why *record.Problem
	// Scale is by what the gap error is multiplied.
	Scale float64
	// Covers is the part of the gauged area that is told: along X a probe elsewhere
	// stands over another part of the beam, of which only the gauged one is known.
	Covers record.Rect
	// Largest is where |gap| + u95 is largest on a lattice over that part.
	Largest PlaceGap

	gap   *Gap
	moved model.Machine
	old   record.Lever
	sides along
	side  float64 // what the unmeasured part of the lever may cost, half width, mm
	least float64 // the shortest lever that can be mounted, mm
}

// Elsewhere predicts the gap error with another lever q, where this run was made with
// p, before anyone drills a hole: the same motions, in the rows of q (model.Gap). One
// lever tells one sum of them only. Along the axis of p all of it scales; the rest of q
// feels what was not measured. That rest may cost rest x sin(3 deg per m x width), the
// twist that a 20 x 20 profile may have within ANSI H35.2 (design notes: check values):
// it is in the doubt, and refused where it is more than the tolerance. Along X pitch and
// straightness stand together, and a mix in which both cancel scales with k^2: k is kept
// within 0 to 1.5. An oblique lever tells neither roll nor pitch, and predicts nothing.
func (v Verdict) Elsewhere(run record.Run, q record.Lever) Elsewhere {
	run = steady.Clean(run)
	p := run.Setup.Lever
	e := Elsewhere{Lever: q, old: p, gap: v.Gap, sides: Pointing(p), least: LeastLever(run.Setup)}
	switch {
	case !result.Tame(q.X, q.Y) || math.Abs(q.X) > 300 || math.Abs(q.Y) > 300:
		e.Why = &record.Problem{Code: "bad-lever", Text: "a probe offset is two lengths of 300 mm at most", Hint: "give X and Y from nozzle to probe, mm"}
	case v.Gap == nil && v.GapWhy != nil:
		e.Why = &record.Problem{Code: v.GapWhy.Code, Text: "the nozzle error of this run is not known: " + v.GapWhy.Text, Hint: v.GapWhy.Hint}
	case v.Gap == nil:
		e.Why = &record.Problem{Code: "no-gauging", Text: "the nozzle error of this run is not known", Hint: "run the step gauging"}
	case run.Setup.LeverUnknown:
		e.Why = &record.Problem{Code: "lever-unknown", Text: "the probe offset of this run is not known", Hint: "give it: --lever X,Y"}
	case q.Length() < 1e-9:
		e.Covers, e.Largest = v.Gap.Area, PlaceGap{Place: v.Gap.Zero} // the probe is the nozzle
	case p.None():
		e.Why = &record.Problem{Code: "no-lever", Text: "the probe of this run is the nozzle: it shows nothing of how the head tilts", Hint: "mount the probe, and measure again; or read the tilt of the head with a level"}
	case e.sides == Oblique:
		e.Why = &record.Problem{Code: "lever-oblique", Text: "the probe offset is oblique, so roll and pitch look the same", Hint: "read the angles at the head (step angles), or mount the probe and measure"}
	default:
		e.predict(run.Setup.Criteria.Tolerance)
	}
	return e
}

// predict sets scale, area and doubt, or why there are none.
func (e *Elsewhere) predict(tolerance float64) {
	p, q := e.old, e.Lever
	e.moved = e.gap.surface.m
	e.moved.Lever = q
	e.Scale = q.Y / p.Y
	axis, other := "Y", "the pitch of the head and the straightness of the beam"
	if e.sides == AlongX {
		e.Scale, axis, other = q.X/p.X, "X", "the roll of the head"
	}
	rest := math.Hypot(q.X-e.Scale*p.X, q.Y-e.Scale*p.Y)
	e.side = rest * math.Sin(3*math.Pi/180*math.Max(e.gap.Area.W(), 100)/1000)
	e.Covers = e.gap.Area
	shift, m := p.X-q.X, e.gap.Margin
	e.Covers.X0, e.Covers.X1 = max(e.Covers.X0, e.gap.Area.X0-m-shift), min(e.Covers.X1, e.gap.Area.X1+m-shift)
	switch {
	case e.side > tolerance:
		e.Why = &record.Problem{Code: "lever-off-line", Text: fmt.Sprintf("a probe %.0f mm off the line along %s also feels %s, which is not known", rest, axis, other),
			Hint: fmt.Sprintf("keep to the line along %s (near X %.0f, Y %.0f), or read the tilt", axis, e.Scale*p.X, e.Scale*p.Y)}
	case e.sides == AlongX && !(e.Scale >= 0 && e.Scale <= 1.5):
		e.Why = &record.Problem{Code: "lever-too-far", Text: fmt.Sprintf("pitch and straightness look alike beyond 1.5 times the present probe offset (%.0f mm)", p.Length()),
			Hint: "read the pitch at the head and lay a straight reference"}
	case e.Covers.W() < e.gap.Area.W()/2:
		e.Why = &record.Problem{Code: "outside-gauged", Text: "the nozzle error then comes mostly from parts of the beam without readings", Hint: "take readings farther out along X"}
	default:
		for i, p := range Lattice(e.Covers, 9, 9) {
			if g, u := e.at(p); i == 0 || math.Abs(g)+u > math.Abs(e.Largest.Gap)+e.Largest.U95 {
				e.Largest = PlaceGap{p, g, u}
			}
		}
	}
}

// At predicts the gap error at p, mm, with the half width of its 95 % interval.
func (e Elsewhere) At(p record.Place) (gap, u95 float64, reason *record.Problem) {
	if e.Why != nil {
		return 0, 0, e.Why
	}
	if !e.Covers.Grown(1e-9).Has(p) {
		return 0, 0, &record.Problem{Code: "outside-gauged", Text: "with this probe offset the nozzle error at " + p.String() + " comes from a part of the beam without readings", Hint: "take readings farther out, or ask for points nearer to the middle"}
	}
	gap, u95 = e.at(p)
	return gap, u95, nil
}

func (e *Elsewhere) at(p record.Place) (gap, u95 float64) {
	if e.Lever.Length() < 1e-9 {
		return 0, 0
	}
	gap, u95 = e.gap.surface.of(e.row(p).Minus(e.row(e.gap.Zero)))
	return gap, math.Hypot(u95, e.side)
}

// row is what the motions make with the other lever; what no motion makes scales with it.
func (e *Elsewhere) row(p record.Place) model.Row {
	rigid := e.moved.Gap(p).Of(func(m model.Motion) bool { return m != model.Give })
	other := e.gap.surface.row(p).Of(func(m model.Motion) bool { return m == model.Give })
	return rigid.Plus(other.Times(e.Scale))
}

func (e Elsewhere) cost() float64 { return math.Abs(e.Largest.Gap) + e.Largest.U95 }

// size says how far off the nozzle is at most.
func (e Elsewhere) size() string { return say.Within(math.Abs(e.Largest.Gap), e.Largest.U95) }

// whole says that all of the gauged area is told.
func (e Elsewhere) whole() bool { return e.Why == nil && e.Covers.W() >= e.gap.Area.W()-1e-9 }

// bodyRoom is how far beside the nozzle a probe's body stands at least: what it feels
// with, its holder, and the nozzle's own heater block and fan duct between them (common
// practice, no source), mm.
const bodyRoom = 15

// LeastLever is the shortest lever at which a probe beside the nozzle can be mounted on
// this machine, mm: as near as it is now is always possible. A nozzle that senses its own
// load needs no room.
func LeastLever(s record.Setup) float64 {
	if s.Kind == record.KindNozzle {
		return 0
	}
	if s.LeverUnknown || s.NoLever() {
		return bodyRoom
	}
	return math.Min(bodyRoom, s.Lever.Length())
}

// Placement is where a probe would cost least.
type Placement struct {
	// Now is the present lever, Best the best on its line that can be predicted.
	Now  Elsewhere
	Best *Elsewhere
	// Least is the shortest lever that can be mounted, mm.
	Least float64
	// Longest is the longest lever along Y on the line of the present one with which
	// the gap error and its doubt stay within the tolerance everywhere gauged, mm; NaN
	// if not even the shortest does, or it cannot be told.
	Longest  float64
	Sentence string
}

// Placement looks for the lever with the least |gap| + u95 on the line of the present
// one, within the given area, mm from the nozzle, and no nearer than a probe can be
// mounted; without an area (not valid) none is looked for. Only levers that tell the
// whole gauged area are compared.
func (v Verdict) Placement(run record.Run, within record.Rect) Placement {
	l := run.Setup.Lever
	p := Placement{Now: v.Elsewhere(run, l), Longest: math.NaN(), Least: LeastLever(run.Setup)}
	if p.Now.Why != nil {
		p.Sentence = "Where the probe costs least is not known: " + p.Now.Why.Text + "."
		return p
	}
	asked := result.Tame(within.X0, within.X1, within.Y0, within.Y1) && within.X1 >= within.X0 && within.Y1 >= within.Y0
	tolerance := steady.Clean(run).Setup.Criteria.Tolerance
	const step = 0.5
	far := int(1.5 * l.Length() / step)
	for i := -far; i <= far; i++ {
		size := math.Max(math.Abs(float64(i))*step, 1)
		k := math.Copysign(size, float64(i)) / l.Length()
		q := record.Lever{X: k * l.X, Y: k * l.Y}
		e := v.Elsewhere(run, q)
		if p.Now.sides == alongY && i > 0 && e.whole() && e.cost() <= tolerance {
			p.Longest = size
		}
		if !asked {
			continue
		}
		near := within.Nearest(record.Place{U: q.X, V: q.Y})
		e = v.Elsewhere(run, record.Lever{X: near.U, Y: near.V})
		if e.whole() && e.Lever.Length() >= p.Least-1e-9 && (p.Best == nil || e.cost() < p.Best.cost()-1e-9) {
			p.Best = &e
		}
	}
	p.Sentence = p.says(tolerance, asked)
	return p
}

func (p Placement) says(tolerance float64, asked bool) string {
	s := fmt.Sprintf("With the present probe offset (%s) the nozzle is off by up to %s.", say.At(p.Now.Lever.X, p.Now.Lever.Y), p.Now.size())
	switch full := p.Now.old.Length(); {
	case p.Now.sides == AlongX:
		s += " How long it may be is not known: the beam would then hold the head elsewhere."
	case math.IsNaN(p.Longest):
		s += fmt.Sprintf(" No probe offset on its line is known to keep it within %s.", say.MM(tolerance))
	case p.Longest < p.Least:
		s += fmt.Sprintf(" Only a probe offset of up to %.0f mm keeps it within %s. So near to the nozzle no probe finds room: its body needs about %.0f mm. %s", p.Longest, say.MM(tolerance), p.Least, instead)
	case p.Longest < 1.49*full:
		s += fmt.Sprintf(" On the probe's line an offset of up to %.0f mm keeps it within %s.", p.Longest, say.MM(tolerance))
	}
	switch b := p.Best; {
	case b != nil:
		s += fmt.Sprintf(" Of the places asked for, %s costs least: up to %s.", say.At(b.Lever.X, b.Lever.Y), b.size())
	case asked:
		s += fmt.Sprintf(" None of the positions is on its line %.0f mm off, with a known bed.", p.Least)
	}
	return s
}

// instead is what has no lever at all.
const instead = "A nozzle that senses its own load feels nothing of the tilt. It is another kind of probe. This run does not show its errors."

// Note says what to know of a lever beside what it costs, "" if nothing: that no probe
// can be mounted there, or which part of the bed is not known.
func (e Elsewhere) Note() string {
	switch l := e.Lever.Length(); {
	case e.least > 0 && l < 1e-9:
		return "At the nozzle itself no probe finds room. " + instead
	case e.least > 0 && l < e.least-1e-9:
		return fmt.Sprintf("So near to the nozzle no probe finds room: its body needs about %.0f mm beside it.", e.least)
	case e.Why == nil && l > 0 && !e.whole():
		return fmt.Sprintf("Known from X %.0f to X %.0f only: beyond, the probe is over a part of the beam without readings.", e.Covers.X0, e.Covers.X1)
	}
	return ""
}
