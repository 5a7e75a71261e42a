package steady

import (
	"math"
	"slices"

	"abbed/analysis/fit"
)

// line is heights e at x along one row, from the smallest x.
type line struct{ x, e []float64 }

// Constants of the smooth prediction of a touch by its row.
const (
	// hollow is how near a touch is left out of the prediction, mm: a flat on a wheel takes
	// its neighbours along. reach is how far away touches predict it, and aside how many
	// on either side do at least.
	hollow, reach = 7.0, 33.0
	aside         = 4
	// dense is how near to each other touches of a row need not all be looked at, mm.
	dense = 2.5
	// curved is the standard deviation of what a bed bends over reach, mm: a bow of a few
	// tenths of a millimetre (common practice, no source).
	curved = 0.03
)

// local returns what each touch of the line leaves of a smooth prediction by the touches
// around it, and its standard deviation in units of that of one touch. The prediction is a
// parabola by the least sum of absolute deviations, which a few stray touches and dips do
// not move (iterated weights: Schlossmacher, JASA 68, 1973; from memory); scatter is about
// that of a touch, mm.
func (l line) local(scatter float64) (left, wide []float64) {
	left, wide = make([]float64, len(l.x)), make([]float64, len(l.x))
	var near []int
	for j, x := range l.x {
		near = near[:0]
		for _, step := range []int{-1, 1} {
			n, last := 0, hollow-dense
			for k := j + step; k >= 0 && k < len(l.x) && (n < aside || math.Abs(l.x[k]-x) <= reach); k += step {
				if d := math.Abs(l.x[k] - x); d > hollow && d >= last+dense {
					near, n, last = append(near, k), n+1, d
				}
			}
		}
		z, v := l.parabola(j, near, scatter)
		left[j], wide[j] = l.e[j]-z, math.Sqrt(1+v)
	}
	return left, wide
}

// parabola is the height at touch j through the touches near, and its variance in units
// of that of one; the touch itself where they are too few.
func (l line) parabola(j int, near []int, scatter float64) (z, variance float64) {
	if len(near) < aside {
		return l.e[j], 0
	}
	w := slices.Repeat([]float64{1}, len(near))
	for round := range 6 {
		a := [3][3]float64{2: {2: scatter * scatter / (curved * curved)}}
		var y, b [3]float64
		for i, k := range near {
			t := (l.x[k] - l.x[j]) / reach
			row := [3]float64{1, t, t * t}
			for p := range 3 {
				y[p] += w[i] * row[p] * (l.e[k] - l.e[near[0]])
				for q := range 3 {
					a[p][q] += w[i] * row[p] * row[q]
				}
			}
		}
		b = solve3(a, y)
		if z = b[0] + l.e[near[0]]; round == 0 {
			variance = solve3(a, [3]float64{1})[0]
		}
		for i, k := range near {
			t := (l.x[k] - l.x[j]) / reach
			w[i] = scatter / math.Max(math.Abs(l.e[k]-z-b[1]*t-b[2]*t*t), scatter)
		}
	}
	return z, variance
}

// solve3 returns a^-1 y by Cramer's rule; a is symmetric.
func solve3(a [3][3]float64, y [3]float64) (x [3]float64) {
	det := func(m [3][3]float64) float64 {
		return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	}
	d := det(a)
	for k := range 3 {
		m := a
		for i := range 3 {
			m[i][k] = y[i]
		}
		x[k] = det(m) / d
	}
	return x
}

// ridden is one row as the carriage rode it: what each touch leaves of the smooth
// prediction, in its own standard deviations sd.
type ridden struct{ x, e, sd []float64 }

// rode are rows as they were ridden, with the scatter that all of them show: that of the
// middle of them, at least least.
func rode(lines []line, least float64) (rows []ridden, sigma float64) {
	var all []float64
	for _, l := range lines {
		e, wide := l.local(least)
		rows = append(rows, ridden{l.x, e, wide})
		for j := range e {
			all = append(all, e[j]/wide[j])
		}
	}
	sigma = math.Max(fit.MAD(all), least)
	for _, r := range rows {
		for j := range r.sd {
			r.sd[j] *= sigma
		}
	}
	return rows, sigma
}

// taken says whether a neighbour of touch j is off with it: beyond two and a half standard
// deviations and an eighth of it, which is what a dip 1.5 mm wide (standard deviation)
// leaves 3 mm away.
func (r ridden) taken(j int) bool {
	for _, k := range []int{j - 1, j + 1} {
		if k >= 0 && k < len(r.e) && r.e[k]*r.e[j] > 0 && math.Abs(r.e[k]) > math.Max(2.5*r.sd[k], math.Abs(r.e[j])/8) {
			return true
		}
	}
	return false
}
