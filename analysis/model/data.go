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

// Rough returns what the smooth series leave of the survey: the standard deviation of
// one touch about them, mm, and how many touches there were.
func (d *Data) Rough() (sd float64, n int) {
	if d.n <= surveyed {
		return 0, d.n
	}
	// A ridge of a thousandth of a touch takes the place of a rank.
	s := newSystem(surveyed)
	for i := range surveyed {
		for j := i; j < surveyed; j++ {
			s.a.Data[i*surveyed+j] = d.a.Data[i*surveyed+j]
		}
		s.a.Data[i*surveyed+i] += 1e-3
		s.b[i] = d.b[i]
	}
	if !s.factor() {
		return 0, d.n
	}
	rest := d.zz - s.explained()
	return math.Sqrt(math.Max(rest, 0) / float64(d.n-beds-1)), d.n
}
