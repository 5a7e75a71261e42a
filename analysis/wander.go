package analysis

import (
	"math"

	"abbed/analysis/fit"
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
func (s *steadiness) wander(run record.Run) {
	ps := rowPasses(run, *s)
	if len(ps.z) < 2 || len(ps.x) < 8 {
		return
	}
	limit := run.Setup.Criteria.Wander
	calm, odd := ps.calmed(math.Max(ps.quick(), s.StepU), limit)
	s.Strays, s.passed = odd, len(ps.z)*len(ps.x)
	noise := math.Max(calm.shortRange(), math.Max(s.StepU, 1e-4))
	sigma, dof := noise, float64(len(ps.x))
	if s.measured && s.sigma > noise {
		sigma, dof = s.sigma, s.dof
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
	places := ps.dips(noise, limit)
	// Coarse reports look alike until they differ by a whole step.
	places.pair = ps.pairs(math.Max(noise, s.sigma)+s.Step/(5*math.Sqrt2), farOff*limit)
	s.dips = places
	w.Local, w.Places = places.size, places.n
	w.P = math.Min(math.Min(pAll, pSmooth)*2, 1)
	m := deviation(size, math.Max(2*n-3, 1), "mm")
	w.Between = &m
	w.fired = size > limit && pAll < chance || size > enough*limit && pSmooth < chance || places.n >= 2
	if places.n >= 2 {
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

// follows says whether a neighbour of j stands out on the same side, beyond
// limit and an eighth of j itself: what a dip 1.5 mm wide (standard deviation)
// leaves 3 mm away.
func follows(row []float64, j int, limit float64) bool {
	for _, k := range []int{j - 1, j + 1} {
		if k >= 0 && k < len(row) && math.Abs(row[k]) > math.Max(limit, math.Abs(row[j])/8) && row[k]*row[j] > 0 {
			return true
		}
	}
	return false
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

type dips struct {
	n    int
	lone sides   // touches that stand out by themselves, strays left out
	wide sides   // places where a neighbour stands out too
	pair int     // places where two neighbours stand out together, strays left out
	size float64 // standard deviation between passes at the worst place, mm
}

// dips counts the places a few mm wide where one pass stands out of the
// others: it and a neighbour beyond 3 sigma on the same side after the bends
// are taken out, and by what may wander and five sigma at its peak.
func (ps passes) dips(sigma, limit float64) dips {
	var d dips
	for _, row := range ps.off(fit.Median) {
		smooth := movingMedian(row, 7)
		rest := make([]float64, len(row))
		for j := range row {
			rest[j] = row[j] - smooth[j]
		}
		for j := 0; j < len(rest); j++ {
			v := rest[j]
			if math.Abs(v) < limit || math.Abs(v) < 5*sigma {
				continue
			}
			if follows(rest, j, 2.5*sigma) {
				d.n++
				d.wide.count(v, farOff*limit)
				j += 3 // one dip, not several
			} else if !d.lone.count(v, farOff*limit) {
				continue
			}
			d.size = math.Max(d.size, math.Abs(v)/math.Sqrt(3))
		}
	}
	// Narrow dips fall between touches; five or more, nearly all on one side, are
	// no strays of a probe.
	if d.lone.leaning() {
		d.n += d.lone.most()
	}
	return d
}

// pairs counts pairsOut over the passes, their bends taken out.
func (ps passes) pairs(sigma, far float64) int {
	n := 0
	for _, row := range ps.off(fit.Median) {
		smooth := movingMedian(row, 7)
		for j := range row {
			smooth[j] = row[j] - smooth[j]
		}
		n += pairsOut(smooth, sigma, far)
	}
	return n
}

// pairsOut counts where two touches beside each other lie off on the same side:
// their sum by five standard deviations of it, each by two and a quarter of the
// other, as in a dip 1.8 mm wide and more (standard deviation). Flats of 0.04 mm
// show so. Of 1,000 sound runs of the bench none had one; a stray touch beside a
// touch that happens to follow by two sigma makes one in a hundred.
func pairsOut(row []float64, sigma, far float64) int {
	n := 0
	for j := 0; j+1 < len(row); j++ {
		a, b := math.Abs(row[j]), math.Abs(row[j+1])
		lo, hi := math.Min(a, b), math.Max(a, b)
		if row[j]*row[j+1] > 0 && hi <= far && lo >= math.Max(2.2*sigma, hi/4) && a+b >= 5*sigma*math.Sqrt2 {
			n++
			j += 3 // one place, not several
		}
	}
	return n
}

// movingMedian returns the median over a window of 2h+1 touches.
func movingMedian(x []float64, h int) []float64 {
	out := make([]float64, len(x))
	for j := range x {
		out[j] = fit.Median(x[max(0, j-h):min(len(x), j+h+1)])
	}
	return out
}
