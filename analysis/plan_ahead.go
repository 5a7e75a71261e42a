package analysis

import (
	"math"

	"abbed/probe/record"
)

// outlook is what records at some of the offered places would leave of the doubt
// over the gauged area.
type outlook struct {
	cov    matrix
	s2     float64
	offers []vector // the terms at the offered places
	over   []vector // the terms at the lattice, less those at the zero place
	unsure []float64
}

// outlook looks from the fit as it stands.
func (g *Gap) outlook(offers, lattice []record.Place) outlook {
	all := func(term) bool { return true }
	o := outlook{cov: g.surface.cov, s2: g.surface.spread()}
	for _, q := range offers {
		o.offers = append(o.offers, g.surface.frame.every(q))
	}
	for _, p := range lattice {
		c, _ := g.surface.difference(p, g.Zero, all)
		o.over, o.unsure = append(o.over, c), append(o.unsure, g.surface.unsure(p, g.Zero, all))
	}
	return o
}

// softness is the degree of the power mean that stands for the largest u95: high
// enough to lean to the largest ones, and yet a record that betters only some of
// them counts.
const softness = 12.0

// left is a mean of the u95, up to a factor, with one more record at each of the
// chosen offers.
func (o outlook) left(chosen []int) float64 {
	cov := o.cov
	for _, i := range chosen {
		cov.learn(o.offers[i], o.s2)
	}
	sum := 0.0
	for i, c := range o.over {
		v := cov.times(c) + o.unsure[i]
		sum += math.Pow(math.Max(v, 0)*1e4, softness/2)
	}
	return math.Pow(sum, 1/softness)
}

// choose returns the n offers, one of them perhaps twice, that together leave
// least, by taking the best one after another and exchanging each for a better
// one in turn (Fedorov's exchange; Atkinson, Donev, Tobias, Optimum Experimental
// Designs, 2007, ch. 12; from memory). The one that helps most by itself is first.
func (o outlook) choose(n int) []int {
	var out []int
	for range n {
		out = append(out, o.better(out, len(out)))
	}
	for range 2 {
		for k := range out {
			out[k] = o.better(out, k)
		}
	}
	first := 0
	for k := range out {
		if o.left(out[k:k+1]) < o.left(out[first:first+1])-1e-9 {
			first = k
		}
	}
	if n > 0 {
		out[0], out[first] = out[first], out[0]
	}
	return out
}

// better returns the best offer for the k-th of the chosen, the others held.
func (o outlook) better(chosen []int, k int) int {
	trial := append([]int(nil), chosen...)
	if k == len(trial) {
		trial = append(trial, 0)
	}
	best, least := trial[k], math.Inf(1)
	for i := range o.offers {
		trial[k] = i
		if w := o.left(trial); w < least-1e-9 {
			best, least = i, w
		}
	}
	return best
}

// every returns all terms at p.
func (f frame) every(p record.Place) vector {
	var a vector
	for t := range a {
		a[t] = f.value(term(t), p)
	}
	return a
}

// spread is the variance of one more record, averaged over the candidates.
func (s surface) spread() float64 {
	v := 0.0
	for _, m := range s.members {
		k := m.t / z95
		v += m.weight * k * k * m.s2
	}
	return v
}

// learn lowers the covariance of the average by a record with the terms a and the
// variance s2: that of the best linear estimate from the mean and covariance of all
// candidates together (Bayes linear; Goldstein, Wooff, Bayes Linear Statistics,
// 2007, ch. 3; from memory). What the candidates differ by counts, so that a place
// at which they foretell something else is worth more than the covariance of each
// one says.
func (m *matrix) learn(a vector, s2 float64) {
	var ca vector
	v := s2
	for i := range a {
		for j := range a {
			ca[i] += m[i][j] * a[j]
		}
		v += a[i] * ca[i]
	}
	for i := range ca {
		for j := range ca {
			m[i][j] -= ca[i] * ca[j] / v
		}
	}
}
