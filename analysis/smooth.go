package analysis

import (
	"math"

	"abbed/analysis/fit"
)

// fine returns the noise of one height, and its degrees of freedom, without what a
// smooth interaction (a twist along Y, a bow that changes) makes of the rest: with
// it a bend of the columns would pass for noise.
func (v *survey) fine(noise, dof float64) (float64, float64) {
	rest, ok := left(v.interacting(), v.rest, nil)
	free := dof - 5
	if !ok || free < 1 {
		return noise, dof
	}
	return math.Max(math.Sqrt(dot([][]float64{rest}, [][]float64{rest})/free), 1e-5), free
}

// smooth sets the calm bend of the columns: a parabola through the nearest
// columns on either side, over as many as leave nothing beyond the noise (F at
// 5 %); the columns as they are where even five leave more. What is left of the
// noise of 2 um a column would else enter the gap error twice, at the place and
// at the zero place.
func (p *Profile) smooth(noise, dof float64) {
	p.raw()
	for half := min(5, (len(p.Columns)-1)/2); half >= 2; half-- {
		calm, share, ss, free := p.parabolas(half)
		if free < 1 || fit.FTail(ss/free/(noise*noise), free, dof) < 0.05 {
			continue
		}
		for i := range p.Columns {
			p.Columns[i].calm, p.Columns[i].uCalm = calm[i], p.Columns[i].U*math.Sqrt(share[i])
		}
		return
	}
}

// raw takes the columns as they are.
func (p *Profile) raw() {
	for i, c := range p.Columns {
		p.Columns[i].calm, p.Columns[i].uCalm = c.Bend, c.U
	}
}

// parabolas returns for each column the parabola over half columns on either
// side (or as many beyond, at an end), the share of a column's variance that it
// keeps, the weighted sum of squares of what it leaves, and its degrees of
// freedom.
func (p *Profile) parabolas(half int) (calm, share []float64, ss, free float64) {
	n := len(p.Columns)
	calm, share = make([]float64, n), make([]float64, n)
	for i := range p.Columns {
		lo := min(max(i-half, 0), n-2*half-1)
		var rows [][]float64
		var y, w []float64
		for _, c := range p.Columns[lo : lo+2*half+1] {
			x := (c.At - p.Columns[i].At) / 10
			rows = append(rows, []float64{1, x, x * x})
			y, w = append(y, c.Bend), append(w, float64(c.N))
		}
		r, err := fit.Least(rows, y, w)
		if err != nil || r.Rank < 3 {
			return nil, nil, 0, 0
		}
		calm[i] = r.Coef[0]
		share[i] = r.Unscaled.At(0, 0) * float64(p.Columns[i].N)
		e := p.Columns[i].Bend - calm[i]
		ss += float64(p.Columns[i].N) * e * e
		free += 1 - r.Hat[i-lo]
	}
	return calm, share, ss, free
}
