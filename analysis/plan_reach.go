package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/model"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// gaugeOn says in words where one more record would tell most.
func (g *gauged) gaugeOn() string {
	if at, _, _, ok := g.next(reachable(g.run)); ok {
		return "gauge on, best at " + at.String()
	}
	return "gauge another column"
}

// secondRow is a place for a second row: at the edge of the reach that is farther away.
func (g *gauged) secondRow() record.Place {
	reach, m := g.run.Setup.Reach, g.area().Middle()
	if !reach.Valid() {
		reach = g.area().Grown(40)
	}
	if m.V-reach.Y0 < reach.Y1-m.V {
		return record.Place{U: m.U, V: reach.Y1}
	}
	return record.Place{U: m.U, V: reach.Y0}
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
	c, oneRow := p.run.Setup.Criteria, len(p.rows()) < 2
	if x := p.gap.Largest(); !oneRow && math.Abs(x.Gap)+x.U95 <= c.Tolerance {
		return at, "", false
	}
	node, far := p.farthestNode()
	switch {
	case oneRow && far > c.GaugedMargin:
		why = fmt.Sprintf("you gauged one row only, and the bed map reaches %.0f mm beside it", far)
	case oneRow:
		why = "you gauged one row only"
		node = p.secondRow()
	case far > c.GaugedMargin+c.NodeReach:
		why = fmt.Sprintf("the bed map reaches %.0f mm beyond the readings", far)
	default:
		return at, "", false
	}
	at, ok = p.nearestOf(node)
	a := p.area()
	return at, why, ok && at.Distance(a.Nearest(at)) >= steady.Apart
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
	a := p.area()
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

// Expect returns the largest u95 that gaugings at the places would give over their
// rectangle, mm, before anything is gauged: that of the readings of a machine with a
// wedge, or one that bends and rolls as well, at a size worth correcting. It is false
// where the places leave it wider than the tolerance.
func Expect(places []record.Place, setup record.Setup, bent bool) (u95 float64, ok bool) {
	c := steady.Usable(setup.Criteria)
	bed := record.Bound(append([]record.Place{setup.Zero}, places...))
	m := model.Machine{Lever: setup.Lever, Layout: setup.Layout, Bed: bed, Travel: bed.Grown(setup.Lever.Length())}
	var d model.Data
	for _, p := range places {
		t, s := (p.U-setup.Zero.U)/math.Max(bed.W()/2, 1), (p.V-setup.Zero.V)/math.Max(bed.H()/2, 1)
		y := 0.15 * t
		if bent {
			y += 0.1*t*t + 0.06*t*s
		}
		d.Readings = append(d.Readings, model.Reading{Row: m.Gap(p), Y: y, Hand: true})
	}
	prior := model.Usual(m, c.GaugeScatter)
	prior.Hands = prior.Hands[:1] // readings without scatter would speak for a hand of none
	post, ok := d.Fit(m, prior, 0)
	if !ok {
		return 0, false
	}
	g := surface{m: m, post: post}
	for _, p := range Lattice(record.Bound(places), 9, 9) {
		_, u := g.contrast(p, setup.Zero)
		u95 = math.Max(u95, u)
	}
	return u95, u95 < c.Tolerance
}
