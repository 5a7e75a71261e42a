package fit

import "math"

// Variation is one line of an analysis of variance.
type Variation struct {
	SS, DoF float64
	// F is against the residual, P the probability of as much by chance.
	F, P float64
}

// OneWay takes groups apart into between and within. F is 0 without residual
// degrees of freedom. Values are centred on the first, so that a large common
// offset costs no digits (NIST StRD SmLs07-09).
func OneWay(groups [][]float64) (between, within Variation) {
	origin, n := 0.0, 0.0
	for _, g := range groups {
		for _, v := range g {
			if n == 0 {
				origin = v
			}
			n++
		}
	}
	sum, k := 0.0, 0.0
	means := make([]float64, len(groups))
	for i, g := range groups {
		for _, v := range g {
			means[i] += v - origin
		}
		sum += means[i]
		if len(g) > 0 {
			k++
			means[i] /= float64(len(g))
		}
	}
	for i, g := range groups {
		d := means[i] - sum/n
		between.SS += float64(len(g)) * d * d
		for _, v := range g {
			e := v - origin - means[i]
			within.SS += e * e
		}
	}
	between.DoF, within.DoF = k-1, n-k
	between.against(within)
	return between, within
}

func (v *Variation) against(residual Variation) {
	if residual.DoF <= 0 || residual.SS <= 0 || v.DoF <= 0 {
		v.P = 1
		return
	}
	v.F = v.SS / v.DoF / (residual.SS / residual.DoF)
	v.P = FTail(v.F, v.DoF, residual.DoF)
}

// TwoWay is the analysis of variance of a full, balanced two-way layout with
// interaction: cells[i][j] holds the repeats in row i and column j, the same
// number in each. It panics if the layout is ragged.
func TwoWay(cells [][][]float64) (rows, columns, interaction, residual Variation) {
	nr, nc := len(cells), len(cells[0])
	n := len(cells[0][0])
	mean := make([][]float64, nr)
	mr, mc, all := make([]float64, nr), make([]float64, nc), 0.0
	for i := range cells {
		mean[i] = make([]float64, nc)
		for j, cell := range cells[i] {
			if len(cell) != n || len(cells[i]) != nc {
				panic("fit: the two-way layout is not balanced")
			}
			mean[i][j], _ = meanSD(cell)
			for _, v := range cell {
				residual.SS += (v - mean[i][j]) * (v - mean[i][j])
			}
			mr[i] += mean[i][j] / float64(nc)
			mc[j] += mean[i][j] / float64(nr)
			all += mean[i][j] / float64(nr*nc)
		}
	}
	m := float64(n)
	for i := range nr {
		rows.SS += m * float64(nc) * (mr[i] - all) * (mr[i] - all)
		for j := range nc {
			d := mean[i][j] - mr[i] - mc[j] + all
			interaction.SS += m * d * d
		}
	}
	for j := range nc {
		columns.SS += m * float64(nr) * (mc[j] - all) * (mc[j] - all)
	}
	rows.DoF, columns.DoF = float64(nr-1), float64(nc-1)
	interaction.DoF, residual.DoF = rows.DoF*columns.DoF, float64(nr*nc*(n-1))
	rows.against(residual)
	columns.against(residual)
	interaction.against(residual)
	return rows, columns, interaction, residual
}

// PureError returns the weighted sum of squares of y about the means of its
// groups, and its degrees of freedom; w may be nil, values of weight 0 do not
// count. group says for each value to which it belongs.
func PureError(y, w []float64, group []int) (ss, dof float64) {
	sw, swy, n := map[int]float64{}, map[int]float64{}, map[int]float64{}
	weight := func(i int) float64 {
		if w == nil {
			return 1
		}
		return w[i]
	}
	for i, v := range y {
		if k := weight(i); k > 0 {
			sw[group[i]] += k
			swy[group[i]] += k * v
			n[group[i]]++
		}
	}
	for i, v := range y {
		if k := weight(i); k > 0 {
			e := v - swy[group[i]]/sw[group[i]]
			ss += k * e * e
		}
	}
	for _, c := range n {
		dof += c - 1
	}
	return ss, dof
}

// LackOfFit tests what a fit leaves of the groups' means against the pure
// error: F = ((RSS - SSpe)/(DoF - DoFpe)) / (SSpe/DoFpe) (NIST e-Handbook
// 4.4.4.6). P is 1 where there are no degrees of freedom for it.
func LackOfFit(r Result, pure, pureDoF float64) Variation {
	v := Variation{SS: math.Max(r.RSS-pure, 0), DoF: r.DoF - pureDoF}
	v.against(Variation{SS: pure, DoF: pureDoF})
	return v
}
