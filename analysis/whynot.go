package analysis

import (
	"fmt"
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// whyNot returns why the fit is not to be believed, or nil. What cannot be
// told is never a number:
//
//   - fewer than three columns: a bend cannot be seen at all;
//   - a bow that three columns show: it may as well be an S shape;
//   - a bend that the survey does not show, from fewer than ten records
//     (design/2: an S shape is out of reach with 8);
//   - a left-right shape in the map that the gauged places cannot share out;
//   - a zero place that does not fit with the others: all contrasts rest on it;
//   - residuals far beyond the expected scatter, and too few second records to
//     say whether the hand or the shape makes them;
//   - places that repeat well and yet do not fit any candidate.
func (g *gauged) whyNot(run record.Run, fitted bool) *Reason {
	area := g.obs.area()
	c := run.Setup.Criteria
	switch cols := len(g.support.columns); {
	case !area.Grown(c.GaugedMargin).Has(run.Setup.Zero):
		return &Reason{"zero-not-gauged", "the zero place was not gauged, so that nothing can be compared with it", "gauge the zero place, " + run.Setup.Zero.String()}
	case cols < 3 || !fitted:
		return &Reason{"few-places", fmt.Sprintf("gauged at %d places in %d columns: a bend between them cannot be seen", g.support.places, cols), "gauge on: " + g.nextColumn(run)}
	}
	bend := g.surface.weightOf(func(t term) bool { return t >= termT2 && t <= termT5 })
	switch cols := len(g.support.columns); {
	case cols == 3 && bend > seen && !g.support.profile:
		g.model.CannotTell = append(g.model.CannotTell, CannotTell{[]string{"t2", "t3"}, "three columns cannot tell a bow from an S shape", g.nextColumn(run)})
		return &Reason{"bend-unclear", "the gap error bends from left to right, and three columns cannot tell how", "gauge on: " + g.nextColumn(run)}
	case g.obs.records() < leastForBend && g.surface.openTo() > seen:
		g.model.CannotTell = append(g.model.CannotTell, CannotTell{[]string{"t2", "t3"}, fmt.Sprintf("%d gaugings are too few to tell a bow from an S shape", g.obs.records()), g.nextColumn(run)})
		return &Reason{"bend-unclear", fmt.Sprintf("the gap error bends from left to right in a way that the map does not show, or one of the records is a slip: %d gaugings are too few to say", g.obs.records()), "gauge on: " + g.nextColumn(run)}
	}
	if r := g.shareUnclear(run); r != nil {
		return r
	}
	if off, sd := g.zeroOff(run); math.Abs(off) > 4*sd && math.Abs(off) > run.Setup.Criteria.Tolerance/2 {
		return &Reason{"zero-does-not-fit", fmt.Sprintf("the zero place, against which everything is compared, lies %s from what the other places say of it", um(off)),
			"gauge the zero place again, and a place near it, at another y"}
	}
	if r := g.handOrShape(); r != nil {
		return r
	}
	if l := g.model.LackOfFit; l != nil && l.P < 0.001 {
		return &Reason{"does-not-fit", fmt.Sprintf("gaugings repeat well at each place, and yet no smooth shape fits them (lack of fit F %.1f, p %.1g)", l.F, l.P), "gauge on between the places: " + g.nextColumn(run)}
	}
	return nil
}

// seen is the weight from which a bend, or a slip that would explain it, counts as
// seen: a fifth before anything is gauged (bowed), and 1.7 times the odds after it.
const seen = 0.3

// leastForBend is how many records a bend wants that only they show.
const leastForBend = 10

// openTo is the weight of the members that have a bend which only the gaugings
// show, or that hold a record to be wild: with few records the one is as good as
// the other, and they differ by all of the bend.
func (s surface) openTo() float64 {
	w := 0.0
	for _, m := range s.members {
		if m.bent() || m.odd > 0 {
			w += m.weight
		}
	}
	return w
}

// manyRepeats is how many degrees of freedom the repeats need to find a misfit of
// some two standard deviations by F alone: with seven F(8, 7) at 0.1 % is 15, which
// no misfit reaches that leaves the fit near the places.
const manyRepeats = 8

// handOrShape returns a reason where what the best candidate leaves is beyond
// the expected scatter (chi-square at 0.1 %), while the repeats do not say that the
// hand is that unsteady: three second records or more, and their own scatter. From
// manyRepeats on the test of lack of fit judges by itself.
func (g *gauged) handOrShape() *Reason {
	best := g.surface.members[0]
	_, dof := fit.PureError(g.obs.g, g.obs.w, g.obs.places())
	v := best.fit.RSS / best.fit.DoF
	if dof >= manyRepeats || dof >= 3 && g.obs.shaken || fit.FTail(v/g.obs.sigma02, best.fit.DoF, 1e6) > 0.001 {
		return nil
	}
	return &Reason{"hand-or-shape", fmt.Sprintf("the gaugings lie %s about any smooth shape, where %s is expected: the hand may be unsteady, or the shape is another",
		um(math.Sqrt(v)), um(math.Sqrt(g.obs.sigma02))), "gauge three places or more a second time"}
}

// zeroOff returns how far the zero place's own records lie from what the best
// candidate says of it without them, and the standard deviation of that: a
// misfit there would shift every contrast. It is 0 where it cannot be told.
func (g *gauged) zeroOff(run record.Run) (off, sd float64) {
	less := g.obs
	less.w = slices.Clone(g.obs.w)
	at, n := 0.0, 0.0
	for i, p := range g.obs.pairs {
		if p.Place.Distance(run.Setup.Zero) < 1 && g.obs.w[i] > 0 {
			at, n = at+p.G, n+1
			less.w[i] = 0
		}
	}
	if n == 0 {
		return 0, 1
	}
	// What the whole fit follows after all is a bend that needs this place.
	if all, _, _ := g.surface.raw(run.Setup.Zero); math.Abs(at/n-all) < 2.5*math.Sqrt(g.obs.sigma02/n) {
		return 0, 1
	}
	sf, ok := average(less, g.candidates, g.surface.frame)
	if !ok {
		return 0, 1
	}
	v, u, _ := sf.raw(run.Setup.Zero)
	return at/n - v, math.Sqrt(u*u + g.obs.sigma02/n)
}

// shareUnclear returns a reason where the survey has a left-right shape beyond
// the tolerance, and the gauged places leave its share so open that the shape
// times the share's doubt is beyond the tolerance too: then the gap error
// between the places may be anything from none to all of it.
func (g *gauged) shareUnclear(run record.Run) *Reason {
	if !g.support.profile {
		return nil
	}
	tolerance, size := run.Setup.Criteria.Tolerance, g.surface.frame.prof.Size.Value
	if size <= tolerance {
		return nil
	}
	rows, y, w := g.told([]term{termOne, termT, termF})
	r, err := fit.Least(rows, y, w)
	if err == nil && r.Rank == len(rows[0]) && size*r.U(2, math.Sqrt(g.obs.sigma02)) <= tolerance {
		return nil
	}
	p := g.mostBend()
	g.model.CannotTell = append(g.model.CannotTell, CannotTell{[]string{"t", "f"}, "at the gauged places the survey's left-right shape looks like a straight line", fmt.Sprintf("gauge a column at x=%.0f", p)})
	return &Reason{"share-unclear", fmt.Sprintf("the map has a left-right shape of %s, and the gauged places cannot tell how much of it is lever error", um(size)),
		fmt.Sprintf("gauge on: a column at x=%.0f, where the shape stands out", p)}
}

// told returns rows, values and weights of the terms as gaugings told them, those of
// later runs with their constants behind the terms.
func (g *gauged) told(terms []term) (rows [][]float64, y, w []float64) {
	var o observations
	for _, x := range g.obs.extra {
		if x.kind == gauging {
			o.extra = append(o.extra, x)
		}
	}
	n, at := o.mates()
	for _, p := range g.obs.pairs {
		rows = append(rows, append(g.surface.frame.row(terms, p.Place), make([]float64, n)...))
	}
	y, w = slices.Clone(g.obs.g), slices.Clone(g.obs.w)
	for _, x := range o.extra {
		rows = append(rows, g.surface.frame.extraRow(x, terms, n, at))
		y, w = append(y, x.y), append(w, g.obs.sigma02/(x.u*x.u))
	}
	return rows, y, w
}

// mostBend returns where the survey's left-right shape lies farthest from a
// line through what it has at the gauged places.
func (g *gauged) mostBend() float64 {
	f := g.surface.frame
	var rows [][]float64
	var y []float64
	add := func(p record.Place) {
		rows, y = append(rows, f.row([]term{termOne, termT}, p)), append(y, f.value(termF, p))
	}
	for _, p := range g.obs.pairs {
		add(p.Place)
	}
	for _, x := range g.obs.extra {
		if x.kind == gauging {
			add(x.place)
		}
	}
	line, err := fit.Least(rows, y, nil)
	at, most := f.mid.U, -1.0
	area := g.obs.area()
	for _, c := range f.prof.Columns {
		if err != nil || c.At < area.X0 || c.At > area.X1 {
			continue
		}
		p := record.Place{U: c.At, V: f.mid.V}
		if d := math.Abs(c.Bend - line.Predict(f.row([]term{termOne, termT}, p))); d > most {
			at, most = c.At, d
		}
	}
	return at
}

// nextColumn says in words where one more column would tell most: the middle
// of the widest stretch without one, the reach's ends counted.
func (g *gauged) nextColumn(run record.Run) string {
	p, row := g.nextPlace(run)
	if row {
		return fmt.Sprintf("a second row, at y=%.0f", p.V)
	}
	return fmt.Sprintf("a column at x=%.0f", p.U)
}

// nextPlace returns the place that would tell most, and whether it is for a
// second row rather than for a column.
func (g *gauged) nextPlace(run record.Run) (record.Place, bool) {
	reach := run.Setup.Reach
	area := g.obs.area()
	if !reach.Valid() {
		reach = area.Grown(40)
	}
	m := area.Middle()
	if len(g.support.columns) >= 5 && len(g.support.rows) < 2 {
		v := reach.Y0
		if m.V-reach.Y0 < reach.Y1-m.V {
			v = reach.Y1
		}
		return record.Place{U: m.U, V: v}, true
	}
	cols := g.support.columns
	at, wide := reach.X0, -1.0
	if len(cols) > 0 {
		if d := cols[0] - reach.X0; d > wide {
			at, wide = reach.X0, d
		}
		if d := reach.X1 - cols[len(cols)-1]; d > wide {
			at, wide = reach.X1, d
		}
		for i := 1; i < len(cols); i++ {
			if d := cols[i] - cols[i-1]; d > 1.5*wide {
				at, wide = (cols[i]+cols[i-1])/2, d/1.5
			}
		}
	}
	return record.Place{U: at, V: m.V}, false
}
