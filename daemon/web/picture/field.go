package picture

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
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
		i, j := floats.NearestIdx(f.X, p.U), floats.NearestIdx(f.Y, p.V)
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

// Range returns the least and the largest value; ok is false if there is none.
func (f Field) Range() (lo, hi float64, ok bool) {
	all := f.sorted()
	if len(all) == 0 {
		return math.Inf(1), math.Inf(-1), false
	}
	return all[0], all[len(all)-1], true
}

// sorted are the values that are there, the least first.
func (f Field) sorted() []float64 {
	all := slices.DeleteFunc(slices.Concat(f.Z...), math.IsNaN)
	slices.Sort(all)
	return all
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

// Scale returns the ends of the colours: the least and the largest value within
// three interquartile ranges of the quartiles (the outer fences of J. Tukey,
// Exploratory Data Analysis, 1977, from memory), so that one bad touch does not
// make the rest look flat.
func (f Field) Scale() (lo, hi float64, ok bool) {
	all := f.sorted()
	if len(all) < 8 {
		return f.Range()
	}
	q1, q3 := all[len(all)/4], all[len(all)-1-len(all)/4]
	room := 3 * (q3 - q1)
	if room == 0 {
		return f.Range()
	}
	all = slices.DeleteFunc(all, func(z float64) bool { return z < q1-room || z > q3+room })
	return all[0], all[len(all)-1], true
}

// Beyond is how many values the colours stop short of.
func (b Bed) Beyond() int {
	lo, hi, _ := b.Field.Scale()
	return len(slices.DeleteFunc(b.Field.sorted(), func(z float64) bool { return z >= lo && z <= hi }))
}
