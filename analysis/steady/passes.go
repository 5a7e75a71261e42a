package steady

import (
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// passes holds the heights of one row passed several times: z[p][j] at x[j],
// touched at t[p][j]; touch[p][j] is the touch itself, nil where nobody asks.
type passes struct {
	x     []float64
	z, t  [][]float64
	touch [][]record.Touch
}

// rowPasses arranges the touches of the row by pass and place. Places that not
// every pass has are left out, and passes that were broken off early.
func rowPasses(run record.Run, s Steadiness) passes {
	ts := rowTouches(run)
	u := make([]float64, len(ts))
	for i, t := range ts {
		u[i] = t.Place.U
	}
	centres, which := Cluster(u, 0.75)
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
	ps = result.Keep(ps, func(p int) bool {
		n := 0
		for _, i := range byPass[p] {
			if i >= 0 {
				n++
			}
		}
		return 2*n >= len(centres)
	})
	out := passes{z: make([][]float64, len(ps)), t: make([][]float64, len(ps)), touch: make([][]record.Touch, len(ps))}
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
			out.z[k] = append(out.z[k], s.Level(t))
			out.t[k] = append(out.t[k], t.T)
			out.touch[k] = append(out.touch[k], t)
		}
	}
	return out
}

// rowTouches returns the touches of the passes over one row. In a file that
// does not say what its touches are for, it is the row (Y to within 0.75 mm)
// with the most touches, if its repeat column counts two passes or more.
func rowTouches(run record.Run) []record.Touch {
	if ts := run.Of(record.SeriesRow); len(ts) > 0 {
		return ts
	}
	given := run.Of(record.SeriesGiven)
	vs := make([]float64, len(given))
	for i, t := range given {
		vs[i] = t.Place.V
	}
	rows, which := Cluster(vs, 0.75)
	byRow := make([][]record.Touch, len(rows))
	counts := make([]map[int]bool, len(rows))
	best := -1
	for i, t := range given {
		k := which[i]
		if counts[k] == nil {
			counts[k] = map[int]bool{}
		}
		counts[k][t.Pass] = true
		byRow[k] = append(byRow[k], t)
	}
	for k := range rows {
		if len(counts[k]) >= 2 && (best < 0 || len(byRow[k]) > len(byRow[best])) {
			best = k
		}
	}
	if best < 0 {
		return nil
	}
	return byRow[best]
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
		r, err := fit.Least(rows, Heights(repeats), nil)
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
		try := passes{x: ps.x, t: ps.t, touch: ps.touch, z: make([][]float64, len(ps.z))}
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

// rate returns how fast the heights moved from the last pass but one to the
// last, mm per minute; nil if it took no time.
func (ps passes) rate(sigma float64) *result.Measured {
	a, b := len(ps.z)-2, len(ps.z)-1
	dt := mean(ps.t[b]) - mean(ps.t[a])
	if dt <= 0 {
		return nil
	}
	n := float64(len(ps.x))
	m := result.Of(60*(mean(ps.z[b])-mean(ps.z[a]))/dt, 60*sigma*math.Sqrt(2/n)/dt, n, "mm/min")
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

// told says whether the passes tell of the ride.
func (ps passes) told() bool { return len(ps.z) >= 2 && len(ps.x) >= 8 }

func (ps passes) lines() (out []line) {
	for _, z := range ps.z {
		out = append(out, line{ps.x, z})
	}
	return out
}

// calmed returns the passes with their stray touches put where their own pass predicts
// them, and lists those touches. A stray touch is off by itself, beyond six standard
// deviations and limit; a flat on a wheel or a mark of the bed takes a neighbour along.
func (ps passes) calmed(least, limit float64) (passes, []Odd) {
	out := passes{x: ps.x, t: ps.t, touch: ps.touch}
	var odd []Odd
	rows, _ := rode(ps.lines(), least)
	for p, r := range rows {
		z := slices.Clone(ps.z[p])
		for j, e := range r.e {
			if math.Abs(e) > math.Max(6*r.sd[j], limit) && !r.taken(j) {
				z[j] -= e
				odd = append(odd, Odd{N: ps.touch[p][j].N, Place: ps.touch[p][j].Place, Off: e,
					Text: "this touch of the passes lies " + say.Fine(e) + " from its neighbours, which do not follow; it was set aside"})
			}
		}
		out.z = append(out.z, z)
	}
	return out, odd
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
