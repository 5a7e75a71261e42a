package steady

import (
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/probe/record"
)

// chance is the probability of a false alarm that each of the three tests of
// wandering may have: together below 0.5 %.
const chance = 0.0015

// enough is the share of the criterion from which a significant wandering
// fails the gate: three passes know a standard deviation so badly (three
// degrees of freedom) that half of the limit may as well be beyond it.
const enough = 0.5

// wander compares the passes: each is freed of its mean, then of the mean of
// all passes; what is left is scatter unless the machine wanders. Three tests,
// each against the larger of the repeat test's scatter and the short-range
// scatter within the passes:
//
//   - all of it: F of the mean square between passes;
//   - bends of whole passes: F of t, t^2, t^3 in each;
//   - places a few mm wide: two neighbouring touches that both stand out of
//     one pass, at two places or more.
//
// Stray touches are put where their own pass foretells them before the first
// two; the third looks at the touches as they are.
//
// A constant between passes, or a steady drift, is never wandering by itself;
// once the bends have shown it, the constants (less a line in time) count in
// its size.
func (s *Steadiness) wander(run record.Run) {
	ps := rowPasses(run, *s)
	if !ps.told() {
		return
	}
	limit := run.Setup.Criteria.Wander
	calm, odd := ps.calmed(math.Max(s.StepU, 1e-4), limit)
	s.Strays, s.passed = odd, len(ps.z)*len(ps.x)
	noise := math.Max(calm.shortRange(), math.Max(s.StepU, 1e-4))
	sigma, dof := noise, float64(len(ps.x))
	if s.Tested && s.Sigma > noise {
		sigma, dof = s.Sigma, s.dof
	}
	s.passRate = calm.rate(sigma)
	calm = calm.settle(repeats(run), sigma)
	n, j := float64(len(ps.z)), float64(len(ps.x))
	w := &Wander{Passes: len(ps.z), Noise: noise}
	e := calm.between(sigma)
	freedom := (n - 1) * (j - 1)
	ms := sumSquares(e) / freedom
	pAll := fit.FTail(ms/(sigma*sigma), freedom, dof)
	bends, df := calm.bends(e)
	pSmooth := fit.FTail(bends/df/(sigma*sigma), df, dof)
	w.Smooth = math.Sqrt(math.Max(bends-df*sigma*sigma, 0) / freedom)
	size := math.Sqrt(math.Max(ms-sigma*sigma, 0))
	if pSmooth < chance {
		size = math.Hypot(math.Max(size, w.Smooth), calm.levels())
	}
	w.Places, w.Local = calm.dips(noise, limit)
	w.P = math.Min(math.Min(pAll, pSmooth)*2, 1)
	m := result.Deviation(size, math.Max(2*n-3, 1), "mm")
	w.Between = &m
	w.fired = size > limit && pAll < chance || size > enough*limit && w.Smooth > enough*limit/2 && pSmooth < chance || w.Places >= 2
	if w.Places >= 2 {
		w.P = math.Min(w.P, chance)
	}
	s.Wander = w
}

// stretch returns how many touches around j stand out on the same side.
func stretch(row []float64, j int, limit float64) int {
	limit = math.Max(limit, math.Abs(row[j])/8)
	out := func(k int) bool {
		return k >= 0 && k < len(row) && math.Abs(row[k]) > limit && row[k]*row[j] > 0
	}
	n := 1
	for k := j + 1; out(k); k++ {
		n++
	}
	for k := j - 1; out(k); k-- {
		n++
	}
	return n
}

// bends returns the sum of squares that t, t^2, t^3 take out of each pass, and
// its degrees of freedom.
func (ps passes) bends(e [][]float64) (ss, dof float64) {
	rows := make([][]float64, len(ps.x))
	lo, hi := ps.x[0], ps.x[len(ps.x)-1]
	for j, x := range ps.x {
		t := 2*(x-lo)/math.Max(hi-lo, 1e-9) - 1
		rows[j] = []float64{t, (3*t*t - 1) / 2, (5*t*t*t - 3*t) / 2}
	}
	for _, row := range e {
		r, err := fit.Least(rows, row, nil)
		if err != nil {
			continue
		}
		for _, v := range row {
			ss += v * v
		}
		ss -= r.RSS
	}
	return math.Max(ss, 0), 3 * float64(len(e)-1)
}

// dips counts the places a few mm wide where one pass stands out of the others, it and a
// neighbour, by what may wander and five standard deviations at its peak after the bends
// are taken out; size is the standard deviation between passes at the worst, mm.
func (ps passes) dips(sigma, limit float64) (n int, size float64) {
	apart := passes{x: ps.x, z: ps.off(fit.Median)}
	rows, _ := rode(apart.lines(), sigma)
	for _, r := range rows {
		for j := 0; j < len(r.e); j++ {
			if e := math.Abs(r.e[j]); e > limit && e > 5*r.sd[j] && r.taken(j) {
				n, size = n+1, math.Max(size, e/math.Sqrt(3))
				j += 3 // one dip, not several
			}
		}
	}
	return n, size
}
