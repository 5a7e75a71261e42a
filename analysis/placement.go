package analysis

import (
	"fmt"
	"math"
	"sort"

	"abbed/probe/record"
)

// Placement is where a probe would cost least.
type Placement struct {
	// Now is the present lever, Best the best of those that can be foretold.
	Now  Elsewhere
	Best *Elsewhere
	// Foretold and Refused count the places that were tried, Near those that were not,
	// being nearer to the nozzle than Least, mm: no probe finds room there.
	Foretold, Refused, Near int
	Least                   float64
	// Longest is the longest lever on the line of the present one with which the
	// gap error and its doubt stay within the tolerance everywhere gauged, mm;
	// NaN if not even the shortest does, or it cannot be told.
	Longest  float64
	Sentence string
}

// tried is how many places along each side of the allowed area are tried.
const tried = 41

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

// Placement looks for the lever with the least |gap| + u95 anywhere in the gauged
// area, among those within the given area, mm from the nozzle, at which a probe can be
// mounted; without an area (not valid) none is looked for. Where the difference to another place is less
// than its doubt the shorter lever is the better one all the same: both scale.
func (v Verdict) Placement(run record.Run, within record.Rect) Placement {
	p := Placement{Now: v.Elsewhere(run, run.Setup.Lever), Longest: math.NaN(), Least: LeastLever(run.Setup)}
	if p.Now.Why != nil {
		p.Sentence = "Where the probe would cost least cannot be told: " + p.Now.Why.Text + "."
		return p
	}
	p.longest(v, run)
	if tame(within.X0, within.X1, within.Y0, within.Y1) && within.X1 >= within.X0 && within.Y1 >= within.Y0 {
		p.search(v, run, within)
	}
	p.Sentence = p.says(run.Setup.Criteria.Tolerance)
	return p
}

// search tries a lattice over the area, and the shortest levers on the line of the
// present one where they lie in it.
func (p *Placement) search(v Verdict, run record.Run, r record.Rect) {
	now := run.Setup.Lever
	var all []record.Lever
	for j := range tried {
		for i := range tried {
			all = append(all, record.Lever{X: r.X0 + r.W()*float64(i)/(tried-1), Y: r.Y0 + r.H()*float64(j)/(tried-1)})
		}
	}
	for _, k := range []float64{p.Least / now.Length(), -p.Least / now.Length()} {
		if q := (record.Lever{X: k * now.X, Y: k * now.Y}); p.Least > 0 && r.Has(record.Place{U: q.X, V: q.Y}) {
			all = append(all, q)
		}
	}
	for _, q := range all {
		if q.Length() < p.Least-1e-9 {
			p.Near++
			continue
		}
		e := v.Elsewhere(run, q)
		if e.Why != nil {
			p.Refused++
			continue
		}
		p.Foretold++
		if p.Best == nil || e.cost() < p.Best.cost()-1e-9 {
			p.Best = &e
		}
	}
}

// longest finds how long the lever may be, to a thousandth of it.
func (p *Placement) longest(v Verdict, run record.Run) {
	l, tolerance := run.Setup.Lever, clean(run).Setup.Criteria.Tolerance
	beyond := sort.Search(1480, func(i int) bool {
		k := 0.02 + float64(i)/1000
		e := v.Elsewhere(run, record.Lever{X: k * l.X, Y: k * l.Y})
		return e.Why != nil || e.cost() > tolerance
	})
	if beyond > 0 {
		p.Longest = (0.02 + float64(beyond-1)/1000) * l.Length()
	}
}

func (p Placement) says(tolerance float64) string {
	s := fmt.Sprintf("With the present lever (x=%.1f y=%.1f mm) the nozzle is off by up to %s \u00b1 %s.", p.Now.Lever.X, p.Now.Lever.Y, um(p.Now.Largest.Gap), um(p.Now.Largest.U95))
	switch full := 1.49 * p.Now.old.Length(); {
	case math.IsNaN(p.Longest):
		s += fmt.Sprintf(" No lever on its line keeps it within the tolerance of %s with certainty.", um(tolerance))
	case p.Longest < p.Least:
		s += fmt.Sprintf(" On the line from the nozzle through it only a lever of up to %.0f mm would keep it within the tolerance of %s, and so near to the nozzle no probe can be mounted: its body needs about %.0f mm. %s", p.Longest, um(tolerance), p.Least, instead)
	case p.Longest < full:
		s += fmt.Sprintf(" On the line from the nozzle through it, a lever of up to %.0f mm keeps it within the tolerance of %s.", p.Longest, um(tolerance))
	}
	return s + p.found()
}

// found says which of the places asked for is the best, and what was left out.
func (p Placement) found() (s string) {
	all := p.Near + p.Refused + p.Foretold
	switch b := p.Best; {
	case b != nil:
		s = fmt.Sprintf(" Of the places asked for, x=%.1f y=%.1f mm costs least: up to %s \u00b1 %s.", b.Lever.X, b.Lever.Y, um(b.Largest.Gap), um(b.Largest.U95))
		if p.Refused > 0 {
			s += fmt.Sprintf(" %d of %d places could not be foretold.", p.Refused, all)
		}
	case p.Refused > 0:
		s = " None of the places asked for can be foretold."
	case p.Near > 0:
		s = " At none of the places asked for a probe can be mounted."
	}
	if p.Near > 0 {
		s += fmt.Sprintf(" %d of %d are nearer to the nozzle than the %.0f mm that the body of a probe needs, and were not tried.", p.Near, all, p.Least)
	}
	return s
}

// instead is what has no lever at all.
const instead = "A nozzle that senses its own load would feel nothing of the tilt: another kind of probe and no mounting place, with errors of its own (what sticks to the tip, how far the head gives), of which this run tells nothing."

// Note says what to know of a lever beside what it costs, "" if nothing: that no probe
// can be mounted there.
func (e Elsewhere) Note() string {
	switch l := e.Lever.Length(); {
	case e.least == 0:
		return ""
	case l < 1e-9:
		return "At the nozzle itself no probe can be mounted. " + instead
	case l < e.least-1e-9:
		return fmt.Sprintf("So near to the nozzle no probe can be mounted: its body needs about %.0f mm beside it.", e.least)
	}
	return ""
}
