package proof

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"abbed/probe/record"
)

// Places are as many as a print has, two patches at each.
const Places = 11

// Choose picks n places of a print from those offered, of which the first is the zero place:
// that one and the nearest to each corner, so that no edge is missing, and then where most
// is in doubt of what may be left after the two patches at each place that is picked.
func Choose(c Case, offered []record.Place, n int) []int {
	picked := []int{0}
	for _, q := range corners(bounds(offered)) {
		k := 0
		for i, p := range offered {
			if p.Distance(q) < offered[k].Distance(q) {
				k = i
			}
		}
		if !slices.Contains(picked, k) {
			picked = append(picked, k)
		}
	}
	d := c.doubts(offered)
	for _, i := range picked {
		d.learn(i)
	}
	for len(picked) < min(n, len(offered)) {
		most := -1
		for i := range offered {
			if !slices.Contains(picked, i) && (most < 0 || d.At(i, i) > d.At(most, most)) {
				most = i
			}
		}
		picked = append(picked, most)
		d.learn(most)
	}
	return picked
}

// doubts is the covariance of what is left at places.
type doubts struct{ *mat.SymDense }

// doubts before anything is read: of all stories, by their weights.
func (c Case) doubts(at []record.Place) doubts {
	k := c.still(at)
	for _, s := range c.stories(apart(at)) {
		k = c.with(k, at, s.terms, math.Exp(s.log))
	}
	return doubts{k}
}

// learn takes two patches at the place i into account; those at the zero place, 0, too.
func (d doubts) learn(i int) {
	n, noise := d.SymmetricDim(), (record.PatchU*record.PatchU+ReadingU*ReadingU)/2
	x := mat.NewVecDense(n, nil)
	for j := range n {
		x.SetVec(j, d.At(j, i))
	}
	d.SymRankOne(d.SymDense, -1/(d.At(i, i)+2*noise), x)
}

func bounds(ps []record.Place) record.Rect {
	r := record.Rect{X0: math.Inf(1), Y0: math.Inf(1), X1: math.Inf(-1), Y1: math.Inf(-1)}
	for _, p := range ps {
		r = record.Rect{X0: math.Min(r.X0, p.U), Y0: math.Min(r.Y0, p.V), X1: math.Max(r.X1, p.U), Y1: math.Max(r.Y1, p.V)}
	}
	return r
}
