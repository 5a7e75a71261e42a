package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/model"
	"abbed/probe/record"
)

// Elsewhere is the gap error that this machine would have with the probe mounted
// at another place of the head.
type Elsewhere struct {
	Lever record.Lever
	// Why says why it cannot be told, and what to measure; nil if it can.
	Why *Reason
	// Scale is by what the gap error is multiplied.
	Scale float64
	// Largest is where |gap| + u95 is largest on a lattice over the gauged area.
	Largest PlaceGap

	gap   *Gap
	moved model.Machine
	old   record.Lever
	least float64 // the shortest lever that can be mounted, mm
}

// Elsewhere predicts the gap error with another lever q, where this run was made
// with p, before anyone drills a hole: the same motions, in the rows of q (model.Gap).
// One lever tells one sum of them only. Along the line of p all of it scales; what
// is left of q beside k p feels what was not measured, of which the posterior knows no
// more than was held before. Where that rest could cost more than the tolerance, rest x
// sin(3 deg per m x width), the twist that a 20 x 20 profile may have within ANSI H35.2
// (design notes: check values), it is refused. Along X pitch and straightness stand
// together and a mix in which both cancel scales with k^2: k is kept within 0 to 1.5.
func (v Verdict) Elsewhere(run record.Run, q record.Lever) Elsewhere {
	run = clean(run)
	p := run.Setup.Lever
	e := Elsewhere{Lever: q, old: p, gap: v.Gap, least: LeastLever(run.Setup)}
	switch {
	case !tame(q.X, q.Y) || math.Abs(q.X) > 300 || math.Abs(q.Y) > 300:
		e.Why = &Reason{"bad-lever", "a lever is two lengths of 300 mm at most", "give x and y from nozzle to probe, mm"}
	case v.Gap == nil && v.GapWhy != nil:
		e.Why = &Reason{v.GapWhy.Code, "the gap error of this run cannot be told: " + v.GapWhy.Text, v.GapWhy.Hint}
	case v.Gap == nil:
		e.Why = &Reason{"no-gauging", "the gap error of this run cannot be told", "run the step gauging"}
	case run.Setup.LeverUnknown:
		e.Why = &Reason{"lever-unknown", "the lever of this run is not known", "give it: --lever X,Y"}
	case q.Length() < 1e-9:
		e.Largest = PlaceGap{Place: v.Gap.Zero} // the probe is the nozzle
	case p.None():
		e.Why = &Reason{"no-lever", "this run was made with a probe that is the nozzle: it says nothing of how the head tilts", "mount the probe where it is to be, and gauge; or read the tilt of the head with an inclinometer"}
	default:
		e.moved = v.Gap.surface.m
		e.moved.Lever = q
		if e.Why = e.offLine(run.Setup.Criteria.Tolerance); e.Why == nil {
			e.largest()
		}
	}
	return e
}

// offLine sets the scale, and refuses a lever of which this run tells too little.
func (e *Elsewhere) offLine(tolerance float64) *Reason {
	p, q, sides := e.old, e.Lever, pointing(e.old)
	along := p // the axis along which it scales
	switch sides {
	case alongY:
		along = record.Lever{Y: 1}
	case alongX:
		along = record.Lever{X: 1}
	}
	e.Scale = (q.X*along.X + q.Y*along.Y) / (p.X*along.X + p.Y*along.Y)
	rest := math.Hypot(q.X-e.Scale*p.X, q.Y-e.Scale*p.Y)
	if rest*math.Sin(3*math.Pi/180*math.Max(e.gap.Area.W(), 100)/1000) <= tolerance {
		if sides != alongY && !(e.Scale >= 0 && e.Scale <= 1.5) {
			return &Reason{"lever-too-far", fmt.Sprintf("with this lever pitch of the head and straightness of the beam stand together, and cost otherwise at another length: what this run tells holds from none to one and a half times its lever (%.0f mm)", p.Length()),
				"read the pitch at the head (step angles) and lay a straight reference, or gauge once the probe is there"}
		}
		return nil
	}
	r := &Reason{Code: "lever-off-line"}
	switch sides {
	case alongY:
		r.Text = fmt.Sprintf("a probe %.0f mm off the line along Y would also feel the pitch of the head and the straightness of the beam, of which a lever along Y tells nothing", rest)
		r.Hint = fmt.Sprintf("keep to the line along Y (x near %.0f mm), or read the pitch at the head (step angles) and lay a straight reference, or gauge once the probe is there", e.Scale*p.X)
	case alongX:
		r.Text = fmt.Sprintf("a probe %.0f mm off the line along X would also feel the roll of the head, of which a lever along X tells nothing", rest)
		r.Hint = fmt.Sprintf("keep to the line along X (y near %.0f mm), or read the roll at the head (step angles), or gauge once the probe is there", e.Scale*p.Y)
	default:
		r.Text = fmt.Sprintf("with an oblique lever roll and pitch of the head stand together: only the line from the nozzle through the probe is foretold, and this place is %.0f mm off it", rest)
		r.Hint = "read roll and pitch at the head (step angles), or gauge once more with the probe mounted elsewhere: two levers tell the two angles apart"
	}
	return r
}

// At predicts the gap error at p, mm, with the half width of its 95 % interval.
func (e Elsewhere) At(p record.Place) (gap, u95 float64, reason *Reason) {
	if e.Why != nil || e.Lever.Length() < 1e-9 {
		return 0, 0, e.Why
	}
	// The part of the beam that the probe then stands over must have been gauged.
	over := p
	over.U += e.old.X - e.Lever.X
	if !e.gap.Area.Grown(e.gap.Margin).Has(over) {
		return 0, 0, &Reason{"outside-gauged", "with this lever the gap error at " + p.String() + " comes from a part of the beam that was not gauged", "gauge farther out, or ask for places nearer to the middle"}
	}
	gap, u95 = e.gap.surface.of(e.row(p).Minus(e.row(e.gap.Zero)))
	return gap, u95, nil
}

// row is what the motions make with the other lever; what no motion makes scales with it.
func (e *Elsewhere) row(p record.Place) model.Row {
	give := func(m model.Motion) bool { return m == model.Give }
	rigid := e.moved.Gap(p).Of(func(m model.Motion) bool { return !give(m) })
	return rigid.Plus(e.gap.surface.row(p).Of(give).Times(e.Scale))
}

func (e *Elsewhere) largest() {
	worst, told, all := -1.0, 0, latticeOn(e.gap.Area)
	for _, p := range all {
		if v, u, why := e.At(p); why == nil {
			if told++; math.Abs(v)+u > worst {
				worst, e.Largest = math.Abs(v)+u, PlaceGap{p, v, u}
			}
		}
	}
	if 2*told < len(all) {
		e.Why = &Reason{"outside-gauged", "with this lever most of the gap error comes from parts of the beam that were not gauged", "gauge farther out along X"}
	}
}

func (e Elsewhere) cost() float64 { return math.Abs(e.Largest.Gap) + e.Largest.U95 }
