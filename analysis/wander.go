package analysis

import (
	"math"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// passes holds the heights of one row passed several times: z[p][j] at x[j],
// touched at t[p][j].
type passes struct {
	x    []float64
	z, t [][]float64
}

// rowPasses arranges the touches of the row by pass and place. Places that not
// every pass has are left out, and passes that were broken off early.
func rowPasses(run record.Run, s steadiness) passes {
	ts := run.Of(record.SeriesRow)
	u := make([]float64, len(ts))
	for i, t := range ts {
		u[i] = t.Place.U
	}
	centres, which := cluster(u, 0.75)
	var ps []int
	byPass := map[int][]int{} // pass -> for each place the touch, or -1
	for i, t := range ts {
		at, there := byPass[t.Pass]
		if !there {
			at = make([]int, len(centres))
			for j := range at {
				at[j] = -1
			}
			byPass[t.Pass] = at
			ps = append(ps, t.Pass)
		}
		at[which[i]] = i
	}
	ps = keep(ps, func(p int) bool {
		n := 0
		for _, i := range byPass[p] {
			if i >= 0 {
				n++
			}
		}
		return 2*n >= len(centres)
	})
	out := passes{z: make([][]float64, len(ps)), t: make([][]float64, len(ps))}
	for j, x := range centres {
		whole := true
		for _, p := range ps {
			whole = whole && byPass[p][j] >= 0
		}
		if !whole {
			continue
		}
		out.x = append(out.x, x)
		for k, p := range ps {
			t := ts[byPass[p][j]]
			out.z[k] = append(out.z[k], s.level(t))
			out.t[k] = append(out.t[k], t.T)
		}
	}
	return out
}

// settle takes out of the passes the settling that the repeat test allows: for
// each time constant the amplitude that bends the passes least, within twice
// the doubt that the repeat test leaves it. A steady drift is the same in
// every pass and needs no care.
func (ps passes) settle(repeats []record.Touch, sigma float64) passes {
	if len(repeats) < fewRepeats || span(repeats) <= 0 {
		return ps
	}
	repeats = repeats[1:]
	t0 := repeats[0].T
	e := ps.off(mean)
	best, bestSS := ps, sumSquares(e)
	for tau := 30.0; tau < 5000; tau *= 1.5 {
		shape := func(t float64) float64 { return 1 - math.Exp(-math.Max(t-t0, 0)/tau) }
		base := touchRow(repeats)
		rows := make([][]float64, len(repeats))
		for i, t := range repeats {
			rows[i] = append(base(i), shape(t.T))
		}
		r, err := fit.Least(rows, heights(repeats), nil)
		if err != nil || r.Rank < len(r.Coef) {
			continue
		}
		k := len(r.Coef) - 1
		a, u := r.Coef[k], 2*r.U(k, sigma)
		h := passes{x: ps.x, z: make([][]float64, len(ps.z))}
		for p, row := range ps.t {
			for _, t := range row {
				h.z[p] = append(h.z[p], shape(t))
			}
		}
		he := h.off(mean)
		if hh := sumSquares(he); hh > 0 {
			a = min(max(dot(e, he)/hh, a-u), a+u)
		}
		try := passes{x: ps.x, t: ps.t, z: make([][]float64, len(ps.z))}
		for p, row := range ps.z {
			for j, z := range row {
				try.z[p] = append(try.z[p], z-a*h.z[p][j])
			}
		}
		if ss := sumSquares(try.off(mean)); ss < bestSS {
			best, bestSS = try, ss
		}
	}
	return best
}

func sumSquares(e [][]float64) float64 { return dot(e, e) }

func dot(a, b [][]float64) float64 {
	s := 0.0
	for i, row := range a {
		for j, v := range row {
			s += v * b[i][j]
		}
	}
	return s
}

// chance is the probability of a false alarm that each of the three tests of
// wandering may have: together below 0.5 %.
const chance = 0.0015

// enough is the share of the criterion from which a significant wandering
// fails the gate: three passes know a standard deviation so badly (three
// degrees of freedom) that 0.6 of the limit may as well be beyond it.
const enough = 0.6

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
// A constant between passes, or a steady drift, is never wandering by itself;
// once the bends have shown it, the constants (less a line in time) count in
// its size.
func (s *steadiness) wander(run record.Run) {
	ps := rowPasses(run, *s)
	if len(ps.z) < 2 || len(ps.x) < 8 {
		return
	}
	noise := math.Max(ps.shortRange(), math.Max(s.StepU, 1e-4))
	sigma, dof := noise, float64(len(ps.x))
	if s.measured && s.sigma > noise {
		sigma, dof = s.sigma, s.dof
	}
	s.passRate = ps.rate(sigma)
	ps = ps.settle(repeats(run), sigma)
	n, j := float64(len(ps.z)), float64(len(ps.x))
	limit := run.Setup.Criteria.Wander
	w := &Wander{Passes: len(ps.z), Noise: noise}
	e := ps.between(sigma)
	freedom := (n - 1) * (j - 1)
	ms := sumSquares(e) / freedom
	pAll := fit.FTail(ms/(sigma*sigma), freedom, dof)
	bends, df := ps.bends(e)
	pSmooth := fit.FTail(bends/df/(sigma*sigma), df, dof)
	w.Smooth = math.Sqrt(math.Max(bends-df*sigma*sigma, 0) / freedom)
	size := math.Sqrt(math.Max(ms-sigma*sigma, 0))
	if pSmooth < chance {
		size = math.Hypot(math.Max(size, w.Smooth), ps.levels())
	}
	places := ps.dips(sigma, limit)
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

// rate returns how fast the heights moved from the last pass but one to the
// last, mm per minute; nil if it took no time.
func (ps passes) rate(sigma float64) *Measured {
	a, b := len(ps.z)-2, len(ps.z)-1
	dt := mean(ps.t[b]) - mean(ps.t[a])
	if dt <= 0 {
		return nil
	}
	n := float64(len(ps.x))
	m := measured(60*(mean(ps.z[b])-mean(ps.z[a]))/dt, 60*sigma*math.Sqrt(2/n)/dt, n, "mm/min")
	return &m
}

// levels returns the standard deviation of the passes' means about a straight
// line through them in time; 0 for two passes.
func (ps passes) levels() float64 {
	if len(ps.z) < 3 {
		return 0
	}
	var rows [][]float64
	var z []float64
	for p := range ps.z {
		rows = append(rows, []float64{1, mean(ps.t[p]) - ps.t[0][0]})
		z = append(z, mean(ps.z[p]))
	}
	r, err := fit.Least(rows, z, nil)
	if err != nil || r.Rank < 2 {
		return 0
	}
	return r.S()
}

// shortRange is the scatter within passes, from the second differences of
// their deviations: a robust measure that bends and a few dips do not reach.
// var(d_j-1 - 2 d_j + d_j+1) = 6 sigma^2, less the part of the common mean.
func (ps passes) shortRange() float64 {
	e := ps.off(mean)
	var d []float64
	for _, row := range e {
		for j := 1; j+1 < len(row); j++ {
			d = append(d, row[j-1]-2*row[j]+row[j+1])
		}
	}
	n := float64(len(ps.z))
	return fit.MAD(d) / math.Sqrt(6*(n-1)/n)
}

// between returns each pass less its mean and less the mean of all passes.
// One or two touches beyond six sigma between neighbours that do not follow
// are first put where the other passes are: probe outliers, or dips, which are
// counted by themselves.
func (ps passes) between(sigma float64) [][]float64 {
	calm := passes{x: ps.x, t: ps.t}
	for p, row := range ps.off(fit.Median) {
		z := append([]float64(nil), ps.z[p]...)
		for j, v := range row {
			if math.Abs(v) > 6*sigma && stretch(row, j, 2.5*sigma) <= 2 {
				z[j] -= v
			}
		}
		calm.z = append(calm.z, z)
	}
	return calm.off(mean)
}

func mean(x []float64) float64 { m, _ := fit.MeanSD(x); return m }

// off returns each pass less its own centre and less the centre over passes.
func (ps passes) off(centre func([]float64) float64) [][]float64 {
	e := make([][]float64, len(ps.z))
	for p, row := range ps.z {
		m := centre(row)
		for _, v := range row {
			e[p] = append(e[p], v-m)
		}
	}
	column := make([]float64, len(e))
	for j := range ps.x {
		for p := range e {
			column[p] = e[p][j]
		}
		m := centre(column)
		for p := range e {
			e[p][j] -= m
		}
	}
	return e
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
	size float64 // standard deviation between passes at the worst place, mm
}

// dips counts the places a few mm wide where one pass stands out of the
// others: it and a neighbour beyond 3 sigma on the same side after the bends
// are taken out, and by three halves of what may wander.
func (ps passes) dips(sigma, limit float64) dips {
	var d dips
	lone := map[float64]int{}
	for _, row := range ps.off(fit.Median) {
		smooth := movingMedian(row, 7)
		rest := make([]float64, len(row))
		for j := range row {
			rest[j] = row[j] - smooth[j]
		}
		for j := 0; j < len(rest); j++ {
			v := rest[j]
			if math.Abs(v) < 1.5*limit || math.Abs(v) < 5*sigma {
				continue
			}
			d.size = math.Max(d.size, math.Abs(v)/math.Sqrt(3))
			if follows(rest, j, 2.5*sigma) {
				d.n++
				j += 3 // one dip, not several
			} else {
				lone[math.Copysign(1, v)]++
			}
		}
	}
	// Narrow dips fall between touches; five or more on one side and none on
	// the other are no outliers of a probe.
	for side, n := range lone {
		if n >= 5 && lone[-side] == 0 {
			d.n += n
		}
	}
	return d
}

// movingMedian returns the median over a window of 2h+1 touches.
func movingMedian(x []float64, h int) []float64 {
	out := make([]float64, len(x))
	for j := range x {
		out[j] = fit.Median(x[max(0, j-h):min(len(x), j+h+1)])
	}
	return out
}
