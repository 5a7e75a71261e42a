package model

import "math"

// Outlook is what further readings would leave of the doubt of some predictions: the
// covariance of all of them, which each reading lowers by a rank of one (that of the
// best linear estimate from mean and covariance of the whole mixture: Goldstein,
// Wooff, Bayes Linear Statistics, 2007, ch. 3; the next place: Ren, Cheung, Xiao,
// Sensors 2018; from memory).
type Outlook struct {
	shown, n int
	cov      []float64 // of shown + offered
	noise    float64   // variance of a reading, mm2
}

// Outlook looks from the posterior on: shown are predictions, offered the rows of
// readings that share the constant, each with a hand's scatter and u beside it.
func (p *Posterior) Outlook(shown, offered []Row, constant int, u float64) *Outlook {
	rows := make([][]float64, 0, len(shown)+len(offered))
	for _, r := range shown {
		c := make([]float64, p.n)
		copy(c, r[:firstBed])
		rows = append(rows, c)
	}
	for _, r := range offered {
		rows = append(rows, p.raw(r, constant))
	}
	h := p.Hand()
	o := &Outlook{shown: len(shown), n: len(rows), cov: make([]float64, len(rows)*len(rows)), noise: h*h + u*u}
	for i, a := range rows {
		ca := make([]float64, p.n)
		for k, x := range a {
			if x != 0 {
				for l, v := range p.cov[k*p.n : (k+1)*p.n] {
					ca[l] += x * v
				}
			}
		}
		for j := i; j < len(rows); j++ {
			v := 0.0
			for l, x := range rows[j] {
				v += x * ca[l]
			}
			o.cov[i*o.n+j], o.cov[j*o.n+i] = v, v
		}
	}
	return o
}

// Largest is the largest variance of what is shown.
func (o *Outlook) Largest() float64 {
	v := 0.0
	for i := range o.shown {
		v = math.Max(v, o.cov[i*o.n+i])
	}
	return v
}

// After is the largest variance of what is shown after one reading of offer k.
func (o *Outlook) After(k int) float64 {
	v := 0.0
	o.left(k, func(x float64) { v = math.Max(v, x) })
	return v
}

// left passes the variances after one reading of offer k.
func (o *Outlook) left(k int, each func(float64)) {
	at := (o.shown + k) * o.n
	gain := o.cov[at+o.shown+k] + o.noise
	for i := range o.shown {
		c := o.cov[at+i]
		each(o.cov[i*o.n+i] - c*c/gain)
	}
}

// softness is the power of the mean of variances by which places are compared: high
// enough to lean to the largest, and yet a reading that betters only some counts.
const softness = 4

// better returns the offer that leaves least, and that mean.
func (o *Outlook) better() (best int, least float64) {
	best, least = -1, math.Inf(1)
	for k := range o.n - o.shown {
		sum := 0.0
		o.left(k, func(v float64) {
			sum += math.Pow(math.Max(v, 0)*1e4, softness)
		})
		if sum < least*(1-1e-9) {
			best, least = k, sum
		}
	}
	return best, least
}

// learn takes a reading of offer k as made.
func (o *Outlook) learn(k int) {
	at := append([]float64(nil), o.cov[(o.shown+k)*o.n:(o.shown+k+1)*o.n]...)
	gain := at[o.shown+k] + o.noise
	for i := range o.n {
		for j := range o.n {
			o.cov[i*o.n+j] -= at[i] * at[j] / gain
		}
	}
}

// Best returns the offer to take first of n that together leave least, by taking the
// best one after another and exchanging each for a better one in turn (Fedorov's
// exchange; Atkinson, Donev, Tobias, Optimum Experimental Designs, 2007, ch. 12; from
// memory): the one that helps most by itself. -1 without offers.
func (o *Outlook) Best(n int) int {
	var chosen []int
	for k := 0; k < 2*n; k++ {
		others := chosen
		if k >= n {
			others = append(append([]int(nil), chosen[:k-n]...), chosen[k-n+1:]...)
		}
		at := &Outlook{o.shown, o.n, append([]float64(nil), o.cov...), o.noise}
		for _, c := range others {
			at.learn(c)
		}
		best, _ := at.better()
		switch {
		case best < 0:
			return -1
		case k >= n:
			chosen[k-n] = best
		default:
			chosen = append(chosen, best)
		}
	}
	first, least := -1, math.Inf(1)
	for _, k := range chosen {
		sum := 0.0
		o.left(k, func(v float64) { sum += math.Pow(math.Max(v, 0)*1e4, softness) })
		if sum < least {
			first, least = k, sum
		}
	}
	return first
}
