package analysis

import (
	"math"

	"abbed/probe/record"
)

// latticeOn returns 5 x 5 places of an area; along an axis without width one.
func latticeOn(r record.Rect) []record.Place {
	line := func(a, b float64) []float64 {
		if b-a < apart {
			return []float64{(a + b) / 2}
		}
		return []float64{a, a + (b-a)/4, (a + b) / 2, b - (b-a)/4, b}
	}
	var out []record.Place
	for _, v := range line(r.Y0, r.Y1) {
		for _, u := range line(r.X0, r.X1) {
			out = append(out, record.Place{U: u, V: v})
		}
	}
	return out
}

// shapes is how many independent ways of changing the places are tested for together:
// slope, bow and S shape along X, slope and bow along Y, and t s.
const shapes = 6

func (c *Comparison) places(ga, gb *Gap, r record.Rect, zero record.Place, tolerance float64) {
	c.Against = r.Nearest(zero)
	worst := 0.0
	for _, p := range latticeOn(r) {
		a, b := ga.told(p, c.Against), gb.told(p, c.Against)
		d := difference(a, b)
		x := PlaceChange{Place: p, Before: a.Value, U95Before: a.U95(), After: b.Value, U95After: b.U95(), By: d.Value, U95: d.U95(), DoF: d.DoF}
		all := togetherAt(shapes, d.DoF) * d.U
		if d.U > 0 && math.Abs(d.Value) > all && p.Distance(c.Against) > 1 {
			x.Beyond = true
			if e := math.Abs(d.Value) - all; e > worst && math.Abs(d.Value) > tolerance/2 {
				worst = e
				c.Most = &PlaceChange{}
				*c.Most = x
			}
		}
		c.Places = append(c.Places, x)
	}
}

// largestOf returns where |gap + what is added there| with its doubt is largest.
func (g *Gap) largestOf(at []record.Place, add []float64) *PlaceGap {
	var out *PlaceGap
	for i, p := range at {
		v, u := g.at(p)
		if add != nil {
			v += add[i]
		}
		if out == nil || math.Abs(v)+u > math.Abs(out.Gap)+out.U95 {
			out = &PlaceGap{p, v, u}
		}
	}
	return out
}

// left returns what the correction in force leaves of the gap error at its nodes
// within the gauged area; nil without one.
func (g *Gap) left(run record.Run) *PlaceGap {
	a, area := run.Setup.Applied, run.Setup.MapArea
	if a == nil || area == nil || len(a.Add) < 2 || len(a.Add[0]) < 2 {
		return nil
	}
	var at []record.Place
	var add []float64
	for j, row := range a.Add {
		for i, v := range row {
			p := record.NodePlace(*area, len(a.Add[0]), len(a.Add), i, j)
			if len(row) == len(a.Add[0]) && g.Area.Grown(g.Margin).Has(p) {
				at, add = append(at, p), append(add, float64(v)/1000)
			}
		}
	}
	return g.largestOf(at, add)
}
