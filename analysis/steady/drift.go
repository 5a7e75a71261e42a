package steady

import (
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/probe/record"
)

// drifting is a model of how heights move with time: slope per s, and a
// settling a (1 - exp(-(t-t0)/tau)). The zero value is no drift.
type drifting struct {
	kind  string
	t0    float64
	slope float64 // mm/s
	amp   float64 // mm
	tau   float64 // s
}

// at returns the drift at time t against t0, mm. Before t0 it is not
// extrapolated along an exponential.
func (d drifting) at(t float64) float64 {
	z := d.slope * (t - d.t0)
	if d.tau > 0 && t > d.t0 {
		z += d.amp * (1 - math.Exp(-(t-d.t0)/d.tau))
	}
	return z
}

// Kinds of drift.
const (
	Level     = "level"
	Slope     = "slope"
	Settling  = "settling"
	Irregular = "irregular"
)

// driftEvidence is by how much AICc must fall for a drift to be taken as seen:
// a weight of 0.95 against none (Burnham, Anderson 2002, ch. 2; from memory).
const driftEvidence = 6

// timed is a least squares fit of heights over time beside other terms.
type timed struct {
	fit.Result
	drift drifting
	terms int // terms before those of the drift
	kept  []record.Touch
	// chance is the probability that steady heights look as if they drifted as
	// much; 1 where none was seen.
	chance float64
}

// fitDrift fits heights by base(i), its own terms for touch i, and the drift
// that the evidence asks for: none, a slope, or a settling whose time constant
// is looked for on a grid. step is the step of the reports; sigma the scatter of
// a touch where it is known from elsewhere with dof degrees of freedom, else 0:
// then AIC with it takes the place of AICc, which wants many touches to believe
// a slope.
func fitDrift(ts []record.Touch, base func(i int) []float64, step, sigma, dof float64) (timed, bool) {
	z := Heights(ts)
	best, still, ok := timed{}, timed{}, false
	bestScore := math.Inf(1)
	try := func(d drifting, extra int, evidence float64) {
		rows := make([][]float64, len(ts))
		for i, t := range ts {
			rows[i] = append([]float64(nil), base(i)...)
			switch d.kind {
			case Slope:
				rows[i] = append(rows[i], t.T-d.t0)
			case Settling:
				rows[i] = append(rows[i], 1-math.Exp(-(t.T-d.t0)/d.tau))
			}
		}
		r, err := fit.Least(rows, z, nil)
		if err != nil || r.Rank < len(r.Coef) || r.DoF < 2 {
			return
		}
		k := float64(len(r.Coef) + 1 + extra)
		score := aicc(r.RSS, float64(r.N), k, step) + evidence
		if sigma > 0 {
			score = r.RSS/(sigma*sigma) + 2*k + evidence
		}
		if score >= bestScore {
			return
		}
		p := len(r.Coef)
		switch d.kind {
		case Slope:
			d.slope = r.Coef[p-1]
		case Settling:
			d.amp = r.Coef[p-1]
		}
		best, bestScore, ok = timed{Result: r, drift: d, terms: len(base(0)), kept: ts, chance: 1}, score, true
	}
	if len(ts) == 0 {
		return best, false
	}
	t0, long := ts[0].T, span(ts)
	try(drifting{kind: Level, t0: t0}, 0, 0)
	still = best
	if long > 0 && len(ts) >= 6 {
		try(drifting{kind: Slope, t0: t0}, 0, driftEvidence)
		for _, f := range []float64{0.1, 0.15, 0.25, 0.4, 0.6, 1} {
			try(drifting{kind: Settling, t0: t0, tau: f * long}, 1, driftEvidence)
		}
	}
	if ok && best.drift.kind != Level && still.drift.kind == Level {
		best.chance = chanceOf(still.RSS, best.RSS, best.DoF, sigma, dof)
	}
	return best, ok
}

// looks is as how many independent tries a slope and settlings of six time
// constants count, which are much alike: over a thousand steady machines the
// probability that it gives comes out right to within a third.
const looks = 3

// chanceOf is the probability that a drift term takes as much off the sum of
// squares of steady heights: F with one degree of freedom over the scatter, that
// of the touches themselves pooled with what is known of it, times looks
// (Bonferroni).
func chanceOf(without, with, free, sigma, dof float64) float64 {
	gain := without - with
	if sigma > 0 {
		with, free = with+dof*sigma*sigma, free+dof
	}
	if !(free > 0) || !(with > 0) {
		return 0
	}
	return math.Min(1, looks*fit.FTail(gain/(with/free), 1, free))
}

// aicc is Akaike's criterion with the small-sample correction for n values and
// k parameters, the variance counted; a rounding of step keeps it finite where
// all heights are equal.
func aicc(rss, n, k, step float64) float64 {
	floor := n * (1e-10 + step*step/120)
	penalty := 2 * k
	if n-k-1 > 0 {
		penalty += 2 * k * (k + 1) / (n - k - 1)
	} else {
		penalty = math.Inf(1)
	}
	return n*math.Log((rss+floor)/n) + penalty
}

// report turns the fit into what is said of the drift; s is the scatter of one
// touch and slow the slow movement that no model took out, mm.
func (f timed) report(from string, s, slow float64) *Drift {
	first, last := f.kept[0].T, f.kept[len(f.kept)-1].T
	d := &Drift{From: from, Kind: f.drift.kind, Settling: f.drift.tau}
	p := len(f.Coef)
	var shape, speed float64 // of the drift's term at the end
	switch f.drift.kind {
	case Slope:
		shape, speed = last-first, 1
	case Settling:
		e := math.Exp(-(last - first) / f.drift.tau)
		shape, speed = 1-e, e/f.drift.tau
	}
	dof := math.Max(f.DoF, 1)
	var rate, total result.Measured
	if shape > 0 {
		u := f.U(p-1, math.Max(s, f.S()))
		rate = result.Of(60*speed*f.Coef[p-1], 60*speed*u, dof, "mm/min")
		total = result.Of(shape*f.Coef[p-1], shape*u, dof, "mm")
	} else if last > first {
		// Nothing seen: the doubt is that of a slope over the same times.
		u := s / math.Sqrt(spread(f.kept))
		rate = result.Of(0, 60*u, dof, "mm/min")
		total = result.Of(0, (last-first)*u, dof, "mm")
	}
	if last > first {
		d.Rate, d.Total = &rate, &total
	}
	row := make([]float64, p)
	if shape > 0 {
		row[p-1] = shape / 2
	}
	d.Left = math.Hypot(slow, s*math.Sqrt(f.Variance(row)))
	if slow > 0 {
		d.Kind = Irregular
	}
	d.Removed = shape > 0
	d.chance = f.chance
	return d
}

// spread returns the sum of squared times about their mean, s^2.
func spread(ts []record.Touch) float64 {
	m := 0.0
	for _, t := range ts {
		m += t.T / float64(len(ts))
	}
	s := 0.0
	for _, t := range ts {
		s += (t.T - m) * (t.T - m)
	}
	return math.Max(s, 1e-12)
}

// slowPart splits residuals in time into quick scatter and slow movement. The
// slow part is 0 unless von Neumann's ratio of the successive differences is
// beyond chance (z > 2.5, p = 0.006; Bartels' normal approximation, from
// memory; a false alarm costs nothing, since what it then calls slow is small). Quick is then that of the third differences, sum d^3^2 / 20(n-3),
// which a swing of ten touches a period hardly reaches.
func slowPart(r []float64, beyond float64) (quick, slow float64) {
	n := float64(len(r))
	_, all := fit.MeanSD(r)
	if n < 8 || all == 0 {
		return all, 0
	}
	q1 := meanSquare(differences(r)) / 2
	z := (1 - q1/(all*all)) * math.Sqrt((n*n-1)/(n-2))
	if z < beyond {
		return all, 0
	}
	q3 := meanSquare(differences(differences(differences(r)))) / 20
	return math.Sqrt(q3), math.Sqrt(math.Max(all*all-q3, 0))
}

func differences(x []float64) []float64 {
	var d []float64
	for i := 1; i < len(x); i++ {
		d = append(d, x[i]-x[i-1])
	}
	return d
}

func meanSquare(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v / float64(len(x))
	}
	return s
}
