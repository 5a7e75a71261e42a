package analysis

import (
	"math"
	"slices"

	"abbed/analysis/fit"
)

// line is heights e at x along one row.
type line struct{ x, e []float64 }

// lines returns the rest row by row, from the smallest X.
func (v *survey) lines(rest []float64) []line {
	out := make([]line, len(v.rows))
	for _, i := range v.order() {
		l := &out[v.row[i]]
		l.x, l.e = append(l.x, v.touches[i].Place.U), append(l.e, rest[i])
	}
	return out
}

// order lists the touches row by row, each row from the smallest X.
func (v *survey) order() []int {
	order := make([]int, len(v.touches))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if v.row[a] != v.row[b] {
			return v.row[a] - v.row[b]
		}
		return cmp(v.touches[a].Place.U, v.touches[b].Place.U)
	})
	return order
}

// calm returns how far each touch stands out of its row: the least of what it
// leaves of several foretellings by touches two or more away, 0 where these
// disagree in sign. A dip a few mm wide stands out of each; a bow of the bed
// follows one or the other, and a stray touch beside a good one spoils only some.
func (v *survey) calm(rest []float64) []float64 {
	out := make([]float64, len(rest))
	order := v.order()
	for from := 0; from < len(order); {
		to := from
		for to < len(order) && v.row[order[to]] == v.row[order[from]] {
			to++
		}
		var row []float64
		for _, i := range order[from:to] {
			row = append(row, rest[i])
		}
		medians := movingMedian(mirrored(row, 3), 3)[3 : len(row)+3]
		for k := range row {
			out[order[from+k]] = least(row[k], append(foretold(row, k), medians[k]))
		}
		from = to
	}
	return out
}

// foretold returns what the touches two or more away on either side say of
// touch k: the mean of two, the parabola of four, and from one side alone the
// line of two and the parabola of three, the one side's only near an end.
func foretold(x []float64, k int) []float64 {
	at := func(i int) (float64, bool) {
		if i < 0 || i >= len(x) {
			return 0, false
		}
		return x[i], true
	}
	var out []float64
	l2, okl2 := at(k - 2)
	r2, okr2 := at(k + 2)
	if okl2 && okr2 {
		out = append(out, (l2+r2)/2, neighbour(l2, r2, x[k]))
		l3, okl3 := at(k - 3)
		r3, okr3 := at(k + 3)
		if okl3 && okr3 {
			return append(out, (9*(l2+r2)-4*(l3+r3))/10)
		}
	}
	for _, side := range []int{-1, 1} {
		a, oka := at(k + 2*side)
		b, okb := at(k + 4*side)
		c, okc := at(k + 6*side)
		if oka && okb && okc {
			out = append(out, 2*a-b, 3*a-3*b+c)
		}
	}
	return out
}

// least returns the deviation of z from the foretellings that is smallest, 0
// where they disagree in sign.
func least(z float64, all []float64) float64 {
	best := z - all[0]
	for _, f := range all[1:] {
		e := z - f
		if e*best <= 0 {
			return 0
		}
		if math.Abs(e) < math.Abs(best) {
			best = e
		}
	}
	return best
}

// quick returns the second differences of the rest within the rows, scaled to
// the scatter of one touch: var(a - 2 b + c) = 6 sigma^2.
func (v *survey) quick(rest []float64) []float64 {
	var out []float64
	order := v.order()
	for k := 1; k+1 < len(order); k++ {
		a, b, c := order[k-1], order[k], order[k+1]
		if v.row[a] == v.row[c] {
			out = append(out, (rest[a]-2*rest[b]+rest[c])/math.Sqrt(6))
		}
	}
	return out
}

// mirrored puts h values before and after x, turned about its ends, so that a
// slope goes on there. x has more than h values.
func mirrored(x []float64, h int) []float64 {
	n := len(x)
	out := make([]float64, 0, n+2*h)
	for k := h; k > 0; k-- {
		out = append(out, 2*x[0]-x[min(k, n-1)])
	}
	out = append(out, x...)
	for k := 1; k <= h; k++ {
		out = append(out, 2*x[n-1]-x[max(n-1-k, 0)])
	}
	return out
}

// standing returns what stays the same: the survey's column effect, and the
// mean of the passes, each freed of its bends.
func (v *survey) standing(ps passes) []line {
	v.decompose()
	out := []line{unbent(line{v.columns, slices.Clone(v.colEff)})}
	if len(ps.z) >= 2 && len(ps.x) >= 20 {
		m := make([]float64, len(ps.x))
		for _, row := range ps.z {
			for j, z := range row {
				m[j] += z / float64(len(ps.z))
			}
		}
		out = append(out, unbent(line{ps.x, m}))
	}
	return out
}

// unbent returns the line less its polynomial of the fourth order.
func unbent(l line) line {
	lo, hi := slices.Min(l.x), slices.Max(l.x)
	rows := make([][]float64, len(l.x))
	for i, x := range l.x {
		t := 2*(x-lo)/math.Max(hi-lo, 1) - 1
		rows[i] = []float64{1, t, t * t, t * t * t, t * t * t * t}
	}
	if f, err := fit.Least(rows, l.e, nil); err == nil {
		l.e = f.Residuals
	}
	return l
}
