package picture

import (
	"math"
	"slices"
)

// Point is a value at a place of the bed, mm.
type Point struct{ U, V, Z float64 }

// Field is values on a grid: Z[j][i] at (X[i], Y[j]), mm; NaN where there is
// none. X and Y increase.
type Field struct {
	X, Y []float64
	Z    [][]float64
}

// Gather puts points on the grid that they were made on. Places closer than 1
// mm along an axis count as the same column or row; points of the same cell are
// averaged. A grid that was not finished has holes.
func Gather(points []Point) Field {
	var us, vs []float64
	for _, p := range points {
		us, vs = append(us, p.U), append(vs, p.V)
	}
	f := Field{X: distinct(us), Y: distinct(vs)}
	n := make([][]float64, len(f.Y))
	for j := range f.Y {
		f.Z, n[j] = append(f.Z, make([]float64, len(f.X))), make([]float64, len(f.X))
	}
	for _, p := range points {
		i, j := nearest(f.X, p.U), nearest(f.Y, p.V)
		f.Z[j][i] += p.Z
		n[j][i]++
	}
	for j := range f.Z {
		for i := range f.Z[j] {
			f.Z[j][i] /= n[j][i] // 0/0 is the hole
		}
	}
	return f
}

// distinct returns the values, sorted, without those closer than 1 mm to the
// one kept before.
func distinct(vs []float64) []float64 {
	slices.Sort(vs)
	var out []float64
	for _, v := range vs {
		if len(out) == 0 || v-out[len(out)-1] >= 1 {
			out = append(out, v)
		}
	}
	return out
}

// nearest returns the index of the value nearest to v.
func nearest(vs []float64, v float64) int {
	best := 0
	for i := range vs {
		if math.Abs(vs[i]-v) < math.Abs(vs[best]-v) {
			best = i
		}
	}
	return best
}

// Range returns the least and the largest value; ok is false if there is none.
func (f Field) Range() (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, row := range f.Z {
		for _, z := range row {
			if !math.IsNaN(z) {
				lo, hi, ok = min(lo, z), max(hi, z), true
			}
		}
	}
	return lo, hi, ok
}

// At returns the value at (u, v): bilinear between four values; the nearest
// value where one of the four is missing, if it lies within half a cell.
func (f Field) At(u, v float64) float64 {
	if len(f.X) < 2 || len(f.Y) < 2 || u < f.X[0] || u > f.X[len(f.X)-1] || v < f.Y[0] || v > f.Y[len(f.Y)-1] {
		return math.NaN()
	}
	i, a := cell(f.X, u)
	j, b := cell(f.Y, v)
	z := (1-b)*((1-a)*f.Z[j][i]+a*f.Z[j][i+1]) + b*((1-a)*f.Z[j+1][i]+a*f.Z[j+1][i+1])
	if !math.IsNaN(z) {
		return z
	}
	return f.Z[j+int(math.Round(b))][i+int(math.Round(a))]
}

// cell returns the index of the interval that v lies in and how far, 0..1.
func cell(vs []float64, v float64) (int, float64) {
	i, _ := slices.BinarySearch(vs, v)
	i = min(max(i-1, 0), len(vs)-2)
	return i, (v - vs[i]) / (vs[i+1] - vs[i])
}
