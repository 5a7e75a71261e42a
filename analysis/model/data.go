package model

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// Reading is one direct observation: value = row of the unknowns + the constant of
// its kind + drift x Late + noise.
type Reading struct {
	Row Row
	// Y is what was read, U the standard uncertainty that is known of it, mm or rad.
	Y, U float64
	// Hand says that the scatter of a hand, which nobody knows, is in it beside U.
	Hand bool
	// Constant numbers the constant that it shares with others, from 0.
	Constant int
	// Tilt numbers a slope that it shares with others, counted as the constants are;
	// Along is its place on it, 0 for none.
	Tilt  int
	Along float64
	// Late is when it was made, from -1 at the first to 1 at the last; 0 where its
	// kind has no drift.
	Late float64
}

// Data are all observations of one machine. The zero value is empty.
type Data struct {
	Readings []Reading
	// survey holds the normal equations of all touches of the map, unit weight.
	a    blas64.Symmetric // of the unknowns and the survey's constant
	b    []float64
	zz   float64
	n    int
	base float64 // taken off every height
}

// surveyed is the order of the survey's normal equations: the unknowns and one
// constant.
const surveyed = width + 1

// chunk is how many touches are accumulated at a time.
const chunk = 256

// Survey adds touches of the map, rows of Machine.Map and heights in mm. They enter
// the normal equations and are not kept.
func (d *Data) Survey(n int, touch func(i int) (Row, float64)) {
	if n == 0 {
		return
	}
	if d.b == nil {
		d.a = blas64.Symmetric{N: surveyed, Stride: surveyed, Uplo: blas.Upper, Data: make([]float64, surveyed*surveyed)}
		d.b = make([]float64, surveyed)
		_, d.base = touch(0)
	}
	rows, z := make([]float64, chunk*surveyed), make([]float64, chunk)
	for from := 0; from < n; from += chunk {
		k := min(chunk, n-from)
		for i := range k {
			r, h := touch(from + i)
			copy(rows[i*surveyed:], r[:])
			rows[i*surveyed+width] = 1
			z[i] = h - d.base
			d.zz += z[i] * z[i]
		}
		m := blas64.General{Rows: k, Cols: surveyed, Stride: surveyed, Data: rows}
		blas64.Syrk(blas.Trans, 1, m, 1, d.a)
		blas64.Gemv(blas.Trans, 1, m, blas64.Vector{N: k, Inc: 1, Data: z}, 1, blas64.Vector{N: surveyed, Inc: 1, Data: d.b})
	}
	d.n += n
}

// correlated is how far what the smooth series leave of a bed hangs together, mm
// (common practice, no source): touches nearer than that do not average it.
const correlated = 30.0

// Weight returns the standard deviation that each touch of the survey counts with, mm:
// its scatter, and what the smooth series leave beyond it, as many times as touches
// share a patch of the area (mm2). 0 without a survey.
func (d *Data) Weight(scatter, area float64) float64 {
	if d.n == 0 {
		return 0
	}
	rest := d.rough()
	rough := math.Max(rest*rest-scatter*scatter, 0)
	share := math.Max(1, float64(d.n)*correlated*correlated/math.Max(area, 1))
	return math.Sqrt(scatter*scatter + rough*share)
}

// rough is the standard deviation of one touch about the smooth series, mm.
func (d *Data) rough() float64 {
	s := newSystem(surveyed)
	copy(s.a.Data, d.a.Data)
	copy(s.b, d.b)
	for i := range surveyed {
		s.a.Data[i*surveyed+i] += 1e-3 // in place of a rank: a ridge of a thousandth of a touch
	}
	if !s.factor() {
		return 0
	}
	return math.Sqrt(math.Max(d.zz-s.explained(), 0) / math.Max(float64(d.n-beds-1), 1))
}
