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

// uncovered is the place that the gauged area has to reach out to before the run can end
// in an answer for the whole map, and what is open until then: the node of the stored map
// that lies farthest outside it, where that is too far for a table (one row reaches its
// margin only), or another row where one was gauged. ok is false where nothing is, where
// the survey is still to come, or where everything gauged is within the tolerance and
// more than one row was.
func (p planner) uncovered() (at record.Place, why string, ok bool) {
	if p.gap == nil || !p.run.Did(record.StepSurvey) {
		return at, "", false
	}
	c, oneRow := p.run.Setup.Criteria, len(p.support.rows) < 2
	if x := p.gap.Largest(); !oneRow && math.Abs(x.Gap)+x.U95 <= c.Tolerance {
		return at, "", false
	}
	node, far := p.farthestNode()
	switch {
	case oneRow && far > c.GaugedMargin:
		why = fmt.Sprintf("only one row was gauged, and nodes of the stored map lie up to %.0f mm beside it", far)
	case oneRow:
		why = "only one row was gauged: what changes from front to back is not known"
		node, _ = p.nextPlace(p.run)
	case far > c.GaugedMargin+c.NodeReach:
		why = fmt.Sprintf("nodes of the stored map lie up to %.0f mm outside the gauged places", far)
	default:
		return at, "", false
	}
	at, ok = p.nearestOf(node)
	a := p.obs.area()
	return at, why, ok && at.Distance(a.Nearest(at)) >= apart
}

// farthestNode is the node of the stored map that lies farthest outside the rectangle of
// the gauged places, and how far, mm; 0 where the nodes are not known.
func (p planner) farthestNode() (at record.Place, far float64) {
	m, area := p.run.Map, p.run.Setup.MapArea
	if m == nil || area == nil {
		return at, 0
	}
	columns, rows := m.Size()
	if columns < 2 || rows < 2 {
		return at, 0
	}
	a := p.obs.area()
	for _, i := range []int{0, columns - 1} {
		for _, j := range []int{0, rows - 1} {
			q := record.NodePlace(*area, columns, rows, i, j)
			if d := q.Distance(a.Nearest(q)); d > far {
				at, far = q, d
			}
		}
	}
	return at, far
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
