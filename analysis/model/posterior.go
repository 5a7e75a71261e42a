package model

import (
	"math"
	"slices"
)

// Constants of the mixture.
const (
	// suspect is how many standard deviations from what the others foretell a reading
	// must lie to be asked for a slip at all, and mostSuspects how many are asked.
	suspect      = 2.2
	mostSuspects = 3
)

// Posterior is what the data leave: mean and covariance of all unknowns, those of the
// mixture of all members. It is immutable.
type Posterior struct {
	Machine Machine
	// Parts are the parts of the mixture that are worth keeping, the heaviest first.
	Parts []Part
	n     int // unknowns, constants and drift
	last  int // of the drift, -1 for none
	mean  []float64
	cov   []float64 // n x n
	data  []Reading
	hands []Hand
}

// Part is one part of the mixture.
type Part struct {
	// Weight is that in what is foretold, Doubt in the doubt of it.
	Weight, Doubt float64
	// Member, Hand and Drift number the prior's; Slip is the reading that is held to
	// be a slip, -1 for none.
	Member, Hand, Drift, Slip int
}

// Fit returns the posterior of the data; sd is the standard deviation of one touch of
// the survey, mm. The readings' values must be near 0 (a constant of Prior.Level
// apart). ok is false without readings, or where they are not finite.
//
// Each member is a linear model with independent normal priors: with the rows over
// the unknowns scaled by their standard deviations, A = X'WX + 1 and b = X'Wy, the
// mean is A^-1 b and the marginal likelihood
//
//	log p = (b'A^-1 b - y'Wy - log|A| + log|W|) / 2 + constant
//
// (Rasmussen, Williams, Gaussian Processes for Machine Learning, 2006, 2.1; the
// evidence: MacKay, Neural Computation 4, 1992; from memory). The mixture has the
// mean sum w m, the covariance sum v (C + (m - mean)(m - mean)') with v the weights in
// the doubt (without Member.Lean).
func (d *Data) Fit(m Machine, p Prior, sd float64) (*Posterior, bool) {
	f, ok := newFitter(d, m, p, sd)
	if !ok {
		return nil, false
	}
	hand := f.likelyHand()
	first := hopeful(f.ask(f.scouted(hand), hand), p.Leave)
	all := f.vary(first, f.suspects(first, hand))
	if len(all) == 0 {
		return nil, false
	}
	return f.mix(all), true
}

// ask tries members with one scatter of the hand.
func (f *fitter) ask(members []int, hand int) []trial {
	var out []trial
	for _, i := range members {
		if t, ok := f.try(Part{Member: i, Hand: hand, Drift: -1, Slip: -1}); ok {
			out = append(out, t)
		}
	}
	return out
}

// scouted are the members whose X and Y each come near the best with one of the scouts.
func (f *fitter) scouted(hand int) []int {
	var all, first []int
	for i, m := range f.p.Members {
		all = append(all, i)
		if slices.Contains(f.p.ScoutX, m.X) || slices.Contains(f.p.ScoutY, m.Y) {
			first = append(first, i)
		}
	}
	if f.p.ScoutX == nil {
		return all
	}
	x, y := map[int]bool{}, map[int]bool{}
	for _, t := range hopeful(f.ask(first, hand), 1.5*f.p.Leave) {
		m := f.p.Members[t.Member]
		x[m.X], y[m.Y] = true, true
	}
	return keepIf(all, func(i int) bool { return x[f.p.Members[i].X] && y[f.p.Members[i].Y] })
}

func keepIf(in []int, good func(int) bool) []int {
	var out []int
	for _, i := range in {
		if good(i) {
			out = append(out, i)
		}
	}
	return out
}

// trial is a part with the logarithm of its weight.
type trial struct {
	Part
	log float64
}

// hopeful drops what lies too far below the best; the best comes first.
func hopeful(all []trial, nats float64) []trial {
	slices.SortStableFunc(all, func(a, b trial) int { return compare(b.log, a.log) })
	for i, t := range all {
		if t.log < all[0].log-nats {
			return all[:i]
		}
	}
	return all
}

// try weighs a part.
func (f *fitter) try(t Part) (trial, bool) {
	log := f.load(t, f.sds(t))
	if !f.s.factor() {
		return trial{}, false
	}
	log += f.s.explained()/2 - f.s.logDet()
	return trial{t, log}, !math.IsNaN(log)
}

// likelyHand is the scatter under which the widest members together are likeliest.
func (f *fitter) likelyHand() int {
	best, top := 0, math.Inf(-1)
	for h := range f.hands {
		for i := range f.p.Members {
			if i%max(1, len(f.p.Members)/24) != 0 {
				continue
			}
			if t, ok := f.try(Part{Member: i, Hand: h, Drift: -1, Slip: -1}); ok && t.log > top {
				best, top = h, t.log
			}
		}
	}
	return best
}

// vary gives the members all scatters, and what is worth it all drifts and slips.
func (f *fitter) vary(first []trial, slips []int) []trial {
	var out []trial
	add := func(t Part) {
		if one, ok := f.try(t); ok {
			out = append(out, one)
		}
	}
	for _, t := range first {
		for h := range f.hands {
			add(Part{Member: t.Member, Hand: h, Drift: -1, Slip: -1})
		}
	}
	steady := hopeful(out, f.p.Leave)
	out = slices.Clone(steady)
	for _, t := range steady {
		for _, slip := range append([]int{-1}, slips...) {
			for drift := -1; drift < len(f.p.Drifts); drift++ {
				if slip >= 0 || drift >= 0 {
					add(Part{Member: t.Member, Hand: t.Hand, Drift: drift, Slip: slip})
				}
			}
		}
	}
	return hopeful(out, f.p.Leave)
}

// suspects are the readings at the hand that lie far from what the others foretell,
// by the best members.
func (f *fitter) suspects(first []trial, hand int) []int {
	if f.p.Slip == 0 || len(first) == 0 {
		return nil
	}
	type odd struct {
		i int
		z float64
	}
	var all []odd
	mean, cov := f.moments(first[0].Part)
	for i, r := range f.data {
		if !r.Hand {
			continue
		}
		if z := f.left(i, f.hands[hand].w[i], mean, cov); math.Abs(z) > suspect {
			all = append(all, odd{i, math.Abs(z)})
		}
	}
	slices.SortStableFunc(all, func(a, b odd) int { return compare(b.z, a.z) })
	var out []int
	for _, o := range all[:min(len(all), mostSuspects)] {
		out = append(out, o.i)
	}
	return out
}

// left is reading i less what all others foretell of it, in standard deviations: the
// leave-one-out residual e / (1 - h) over its own sqrt(v / (1 - h)).
func (f *fitter) left(i int, w float64, mean, cov []float64) float64 {
	e, h := f.data[i].Y, 0.0
	for a, x := range f.rows[i] {
		e -= x * mean[a]
		for b, y := range f.rows[i] {
			h += x * cov[a*f.k+b] * y
		}
	}
	return e * math.Sqrt(w/math.Max(1-h*w, 1e-6))
}
