package model

import (
	"math"
	"slices"
)

// moments are mean and covariance of a part.
func (f *fitter) moments(t Part) (mean, cov []float64) {
	sd := f.sds(t)
	f.load(t, sd)
	mean, cov = make([]float64, f.k), make([]float64, f.k*f.k)
	if !f.s.factor() {
		return mean, cov
	}
	x, inverse := f.s.solve()
	for i := range f.k {
		mean[i] = x[i] * sd[i]
		for j := i; j < f.k; j++ {
			v := inverse.Data[i*f.k+j] * sd[i] * sd[j]
			cov[i*f.k+j], cov[j*f.k+i] = v, v
		}
	}
	return mean, cov
}

// mix is the mixture of all that is worth keeping.
func (f *fitter) mix(all []trial) *Posterior {
	p := &Posterior{Machine: f.m, n: f.k, last: -1, data: f.data, hands: f.p.Hands}
	weights := shares(all, func(t trial) float64 { return t.log + f.p.Members[t.Member].Lean }, f.p.Drop)
	doubts := shares(all, func(t trial) float64 { return t.log }, f.p.Drop)
	for i, t := range all {
		if t.Weight, t.Doubt = weights[i], doubts[i]; t.Weight+t.Doubt > 0 {
			p.Parts = append(p.Parts, t.Part)
		}
	}
	k := f.k
	mean, second := make([]float64, k), make([]float64, k*k)
	other := make([]float64, k) // the mean under the weights of the doubt
	for _, t := range p.Parts {
		m, c := f.moments(t)
		for i := range m {
			mean[i] += t.Weight * m[i]
			other[i] += t.Doubt * m[i]
			for j := range m {
				second[i*k+j] += t.Doubt * (c[i*k+j] + m[i]*m[j])
			}
		}
	}
	for i := range mean {
		for j := range mean {
			second[i*k+j] += mean[i]*mean[j] - other[i]*mean[j] - mean[i]*other[j]
		}
	}
	p.spread(f, mean, second)
	return p
}

// shares returns weights that sum to 1 from their logarithms; 0 for the lightest, which
// come to drop together.
func shares(all []trial, log func(trial) float64, drop float64) []float64 {
	w, order := make([]float64, len(all)), make([]int, len(all))
	best, sum := math.Inf(-1), 0.0
	for _, t := range all {
		best = math.Max(best, log(t))
	}
	for i, t := range all {
		order[i], w[i] = i, math.Exp(log(t)-best)
		sum += w[i]
	}
	slices.SortStableFunc(order, func(a, b int) int { return compare(w[b], w[a]) })
	kept := 0.0
	for k, i := range order {
		if kept >= (1-drop)*sum {
			for _, i := range order[k:] {
				w[i] = 0
			}
			break
		}
		kept += w[i]
	}
	for i := range w {
		w[i] /= kept
	}
	return w
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// spread puts the moments of the seen unknowns where all of them stand.
func (p *Posterior) spread(f *fitter, mean, cov []float64) {
	n := len(f.seen)
	at := make([]int, f.k)
	for j := range at {
		at[j] = firstBed + j - n
		if j < n {
			at[j] = f.seen[j]
		}
	}
	p.n = firstBed + f.k - n
	if len(f.p.Drifts) > 0 {
		p.last = p.n - 1
	}
	p.mean, p.cov = make([]float64, p.n), make([]float64, p.n*p.n)
	for i := range firstBed { // what nothing was read of is as it was held before
		for _, t := range p.Parts {
			sd := math.Max(f.p.Members[t.Member].SD[i], f.p.Unread[i])
			p.cov[i*p.n+i] += t.Weight * sd * sd
		}
	}
	for a, i := range at {
		p.mean[i] = mean[a]
		for b, j := range at {
			p.cov[i*p.n+j] = cov[a*f.k+b]
		}
	}
}
