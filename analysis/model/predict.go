package model

import "math"

// At returns the mean and the variance of what a row makes, mm or rad.
func (p *Posterior) At(r Row) (mean, variance float64) {
	return p.of(r[:firstBed])
}

// Between returns the covariance of two rows.
func (p *Posterior) Between(a, b Row) float64 {
	v := 0.0
	for i, x := range a[:firstBed] {
		if x == 0 {
			continue
		}
		for j, y := range b[:firstBed] {
			v += x * y * p.cov[i*p.n+j]
		}
	}
	return v
}

// Raw returns what a reading with a constant would show, the constant included.
func (p *Posterior) Raw(r Row, constant int) (mean, variance float64) {
	return p.of(p.raw(r, constant))
}

func (p *Posterior) raw(r Row, constant int) []float64 {
	c := make([]float64, p.n)
	copy(c, r[:firstBed])
	c[firstBed+constant] = 1
	return c
}

// Drift returns the mean and the variance of the drift of the readings, from the
// middle to the last, and the weight of the parts that have one.
func (p *Posterior) Drift() (mean, variance, weight float64) {
	if p.last < 0 {
		return 0, 0, 0
	}
	for _, t := range p.Parts {
		if t.Drift >= 0 {
			weight += t.Weight
		}
	}
	return p.mean[p.last], p.cov[p.last*p.n+p.last], weight
}

// Left returns reading i less what the posterior says of it, with the share of itself
// in that (its place on the diagonal of the hat matrix), 0..1.
func (p *Posterior) Left(i int) (residual, share float64) {
	r := p.data[i]
	c := p.raw(r.Row, r.Constant)
	if r.Along != 0 {
		c[firstBed+r.Tilt] += r.Along
	}
	if p.last >= 0 {
		c[p.last] = r.Late
	}
	mean, v := p.of(c)
	u := r.U * r.U
	if r.Hand {
		h := p.Hand()
		u += h * h
	}
	return r.Y - mean, math.Min(v/math.Max(u, 1e-14), 1)
}

// Hand returns the mean scatter of the hand, mm: the root of the mean variance.
func (p *Posterior) Hand() float64 {
	v := 0.0
	for _, t := range p.Parts {
		v += t.Weight * p.hands[t.Hand].SD * p.hands[t.Hand].SD
	}
	return math.Sqrt(v)
}

// Slip returns how likely reading i is a slip.
func (p *Posterior) Slip(i int) float64 {
	w := 0.0
	for _, t := range p.Parts {
		if t.Slip == i {
			w += t.Weight
		}
	}
	return w
}

func (p *Posterior) of(c []float64) (mean, variance float64) {
	for i, x := range c {
		if x == 0 {
			continue
		}
		mean += x * p.mean[i]
		at := p.cov[i*p.n : i*p.n+len(c)]
		for j, y := range c {
			variance += x * y * at[j]
		}
	}
	return mean, math.Max(variance, 0)
}
