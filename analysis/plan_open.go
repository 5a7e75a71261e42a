package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// open says what is not settled yet; empty if nothing.
func (p planner) open() string {
	n := p.obs.records()
	switch {
	case p.run.Setup.NoLever():
		return ""
	case p.why != nil:
		return p.why.Text
	case n < leanLeast:
		return fmt.Sprintf("%d records are too few to tell a bend from the hand's scatter", n)
	}
	if u := p.gap.Largest().MostDoubt; math.Round(1000*u) > math.Round(1000*p.target) { // to the um, as it is said
		return fmt.Sprintf("somewhere in the gauged area the gap error is known to ± %s only, and ± %s is wanted", um(u), um(p.target))
	}
	if n < bentLeast {
		return p.unstraight()
	}
	return ""
}

// owed reports whether the zero place is to be gauged again: it was not among
// the last records.
//
// What drifts within this run a later one cannot tell any more.
func (p planner) owed() bool {
	ps := p.obs.pairs
	if p.obs.records() > len(ps) {
		return false
	}
	for _, q := range ps[max(min(1, len(ps)), len(ps)-returnAfter):] {
		if q.Place.Distance(p.run.Setup.Zero) < 1 {
			return false
		}
	}
	return true
}

// times is how many records stand at the place.
func (p planner) times(at record.Place) int {
	n := 0
	for _, q := range p.obs.pairs {
		if q.Place.Distance(at) < 1 {
			n++
		}
	}
	for _, x := range p.obs.extra {
		if x.kind == gauging && x.place.Distance(at) < 1 {
			n++
		}
	}
	return n
}

// unstraight names a term beyond a plane that the records do not speak against:
// added to level and slopes, it stands off zero at the level doubtful by
// Student's t, the expected scatter of a gauging counted in.
func (p planner) unstraight() string {
	base := []term{termOne, termT}
	if len(p.support.rows) > 1 {
		base = append(base, termS)
	}
	for _, more := range [][]term{{termT2}, {termT2, termT3}, {termTS}} {
		terms := append(append([]term(nil), base...), more...)
		if !p.carriesAll(terms) {
			continue
		}
		m, ok := fitOne(p.obs, freely(terms), p.surface.frame)
		if !ok {
			continue
		}
		for i := len(base); i < len(terms); i++ {
			u := math.Sqrt(m.s2 * m.fit.Unscaled.At(i, i))
			if 2*fit.TTail(math.Abs(m.fit.Coef[i])/u, m.dof) < doubtful {
				return fmt.Sprintf("%d records leave it open whether the gap error has a %s", p.obs.records(), termSays[terms[i]])
			}
		}
	}
	return ""
}

func (p planner) carriesAll(terms []term) bool {
	c := freely(terms)
	return len(terms) < p.support.places && p.support.carries(c, family{terms: c.terms})
}
