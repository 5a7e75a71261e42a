package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// whyNot returns why the posterior is not to be believed, or nil. What cannot be told is
// never a number:
//
//   - a zero place that was not gauged, or does not fit with the others: all contrasts
//     rest on it;
//   - fewer than three columns: a bend cannot be seen at all;
//   - a bend that fewer than ten records leave open by more than about the tolerance;
//   - a close left-right shape in the map that the gauged places cannot share out;
//   - a scatter far beyond the expected one, and too few second records to say whether
//     the hand or the shape makes it;
//   - places that repeat well and yet fit no smooth shape.
func (g *gauged) whyNot() *record.Problem {
	c, zero := g.run.Setup.Criteria, g.run.Setup.Zero
	columns := len(g.columns())
	_, places := grouped(g.gaugedAt())
	switch {
	case !g.area().Grown(c.GaugedMargin).Has(zero):
		return &record.Problem{Code: "zero-not-gauged", Text: "the zero point was neither gauged nor printed on", Hint: "gauge the zero point, " + zero.String()}
	case columns < 3 || g.surface.post == nil:
		return &record.Problem{Code: "few-places", Text: fmt.Sprintf("%d points in %d columns do not show a bend between them", places, columns), Hint: g.gaugeOn()}
	case g.records() < leastForBend && g.bendDoubt() > openBend*c.Tolerance:
		return &record.Problem{Code: "bend-unclear", Text: fmt.Sprintf("%d readings show the bend to %s only, or one of them is a slip", g.records(), say.PM(g.bendDoubt())), Hint: g.gaugeOn()}
	}
	if _, u95 := g.surface.of(g.machine.Share()); g.restSize*u95 > c.Tolerance {
		return &record.Problem{Code: "share-unclear", Text: fmt.Sprintf("the bed map bends by %s between the points, for no known reason", say.MM(g.restSize)), Hint: g.gaugeOn()}
	}
	if off, sd := g.zeroOff(); math.Abs(off) > 4*sd && math.Abs(off) > c.Tolerance/2 {
		return &record.Problem{Code: "zero-does-not-fit", Text: fmt.Sprintf("the reading at the zero point is %s off the others", say.MM(math.Abs(off))),
			Hint: "gauge the zero point again, and a point near it at another Y"}
	}
	if h := g.surface.post.Hand(); h > shaken*c.GaugeScatter && g.seconds() < fewSeconds {
		return &record.Problem{Code: "hand-or-shape", Text: fmt.Sprintf("the readings scatter by %s, and %s is usual: the hand may be unsteady, or the shape is another", say.MM(h), say.MM(c.GaugeScatter)),
			Hint: "gauge three points or more a second time"}
	}
	if l := g.model.LackOfFit; l != nil && l.P < 0.001 {
		return &record.Problem{Code: "does-not-fit", Text: fmt.Sprintf("the readings repeat well, but no smooth shape fits (F %.1f, p %.1g)", l.F, l.P), Hint: g.gaugeOn()}
	}
	return nil
}

const (
	// leastForBend is how many records a bend wants that only they show, openBend the
	// doubt of it, in tolerances, from which fewer leave it open: below that the doubt of
	// the gap error says enough by itself.
	leastForBend = 10
	openBend     = 1.05
	// shaken is the scatter of the hand, in units of the expected one, from which it
	// may as well be another shape, while fewer than fewSeconds second records say so.
	shaken     = 2
	fewSeconds = 3
)

// seconds is how many records were made at a place that had one.
func (g *gauged) seconds() int {
	_, n := grouped(placesOf(g.pairs))
	return len(g.pairs) - n
}

// bendDoubt is the largest half width of the bend along X in the zero place's row.
func (g *gauged) bendDoubt() float64 {
	a, worst := g.area(), 0.0
	for i := 1; i < 12; i++ {
		_, u95 := g.surface.of(g.surface.bend(a.X0+a.W()*float64(i)/12, a.X0, a.X1, g.run.Setup.Zero.V))
		worst = math.Max(worst, u95)
	}
	return worst
}

// zeroOff returns how far the zero place's own records lie from what all others say of
// it, and the standard deviation of that: a misfit there would shift every contrast. It
// is 0 where it cannot be told, or where the posterior follows the records after all.
func (g *gauged) zeroOff() (off, sd float64) {
	base := g.base()
	at, left, n := 0.0, 0.0, 0.0
	prior := model.Usual(g.machine, g.run.Setup.Criteria.GaugeScatter)
	d := g.map0
	d.Readings = g.readings(prior.Slip)
	for i, p := range g.pairs {
		if p.Place.Distance(g.run.Setup.Zero) < 1 && !g.slips[i] {
			e, _ := g.surface.post.Left(i)
			at, left, n = at+p.G-base, left+e, n+1
			d.Readings[i].U = 1 // a reading of a millimetre's doubt says nothing
		}
	}
	h := g.surface.post.Hand()
	if n == 0 || math.Abs(left/n) < 2.5*h/math.Sqrt(n) {
		return 0, 1
	}
	post, ok := d.Fit(g.machine, prior, g.rough)
	if !ok {
		return 0, 1
	}
	v, variance := post.Raw(g.surface.row(g.run.Setup.Zero), 0)
	return at/n - v, math.Sqrt(variance + h*h/n)
}

// share returns how much of the survey's left-right bend f is lever error: the
// projection of the gap error on it, sum f g / sum f^2 over the columns. A line is no
// part of f, and falls out.
func (g *gauged) share() (*result.Measured, string) {
	p := g.profile
	switch {
	case p == nil:
		return nil, "there is no survey"
	case !p.Significant:
		return nil, "the survey's left-right shape is not above its noise"
	case g.surface.post == nil:
		return nil, "without readings bed and beam look the same"
	}
	ff := 0.0
	for _, c := range p.Columns {
		ff += c.Bend * c.Bend
	}
	var r model.Row
	for _, c := range p.Columns {
		r = r.Plus(g.surface.row(record.Place{U: c.At, V: g.run.Setup.Zero.V}).Times(c.Bend / ff))
	}
	m := g.surface.measured(r)
	m.Unit = ""
	if m.U > 1 {
		return nil, "the readings do not show more than a slope: gauge more columns"
	}
	return &m, ""
}
