package analysis

import (
	"fmt"
	"math"

	"abbed/probe/record"
)

// Placement is where a probe would cost least.
type Placement struct {
	// Now is the present lever, Best the best of those that can be foretold.
	Now  Elsewhere
	Best *Elsewhere
	// Foretold and Refused count the places that were tried.
	Foretold, Refused int
	// Longest is the longest lever on the line of the present one with which the
	// gap error and its doubt stay within the tolerance everywhere gauged, mm;
	// NaN if not even the shortest does, or it cannot be told.
	Longest  float64
	Sentence string
}

// tried is how many places along each side of the allowed area are tried.
const tried = 41

// Placement looks for the lever with the least |gap| + u95 anywhere in the gauged
// area, among those within the given area, mm from the nozzle; without an area
// (not valid) none is looked for. Where the difference to another place is less
// than its doubt the shorter lever is the better one all the same: both scale.
func (v Verdict) Placement(run record.Run, within record.Rect) Placement {
	p := Placement{Now: v.Elsewhere(run, run.Setup.Lever), Longest: math.NaN()}
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

func (p *Placement) search(v Verdict, run record.Run, r record.Rect) {
	for j := range tried {
		for i := range tried {
			q := record.Lever{X: r.X0 + r.W()*float64(i)/(tried-1), Y: r.Y0 + r.H()*float64(j)/(tried-1)}
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
}

func (e Elsewhere) cost() float64 { return math.Abs(e.Largest.Gap) + e.Largest.U95 }

// longest finds by halving how long the lever may be.
func (p *Placement) longest(v Verdict, run record.Run) {
	l, tolerance := run.Setup.Lever, clean(run).Setup.Criteria.Tolerance
	good := func(k float64) bool {
		e := v.Elsewhere(run, record.Lever{X: k * l.X, Y: k * l.Y})
		return e.Why == nil && e.cost() <= tolerance
	}
	lo, hi := 0.02, 1.5
	if !good(lo) {
		return
	}
	for range 20 {
		if mid := (lo + hi) / 2; good(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	p.Longest = lo * l.Length()
}

func (p Placement) says(tolerance float64) string {
	s := fmt.Sprintf("With the present lever (x=%.1f y=%.1f mm) the nozzle is off by up to %s ± %s.", p.Now.Lever.X, p.Now.Lever.Y, um(p.Now.Largest.Gap), um(p.Now.Largest.U95))
	switch full := 1.49 * p.Now.old.Length(); {
	case math.IsNaN(p.Longest):
		s += fmt.Sprintf(" No lever on its line keeps it within the tolerance of %s with certainty.", um(tolerance))
	case p.Longest < full:
		s += fmt.Sprintf(" On the line from the nozzle through it, a lever of up to %.0f mm keeps it within the tolerance of %s.", p.Longest, um(tolerance))
	}
	if b := p.Best; b != nil {
		s += fmt.Sprintf(" Of the places asked for, x=%.1f y=%.1f mm costs least: up to %s ± %s.", b.Lever.X, b.Lever.Y, um(b.Largest.Gap), um(b.Largest.U95))
		if p.Refused > 0 {
			s += fmt.Sprintf(" %d of %d places could not be foretold.", p.Refused, p.Refused+p.Foretold)
		}
	} else if p.Refused > 0 {
		s += " None of the places asked for can be foretold."
	}
	return s
}
