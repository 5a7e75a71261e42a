package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Errors of Least.
var (
	ErrNotFinite = errors.New("fit: an observation is not finite")
	ErrTooFew    = errors.New("fit: fewer observations than terms")
)

// rankTolerance is the share of the largest singular value below which a
// direction counts as not there.
const rankTolerance = 1e-13

// Result is a weighted least squares fit.
type Result struct {
	// Coef are the coefficients.
	Coef []float64
	// Unscaled is (X'WX)^-1: times S^2 it is the covariance of Coef.
	Unscaled *mat.SymDense
	// Residuals are y - X Coef, without weight.
	Residuals []float64
	// RSS is the weighted sum of squared residuals; DoF is N - Rank.
	RSS float64
	N   int
	DoF float64
	// Rank of the design; below len(Coef) the coefficients are those of least
	// norm (of the scaled design) and tell nothing one by one.
	Rank int
	// Condition of the design with each column scaled to length 1.
	Condition float64
}

// S returns the residual standard deviation, sqrt(RSS/DoF); 0 without degrees
// of freedom.
func (r Result) S() float64 {
	if r.DoF <= 0 {
		return 0
	}
	return math.Sqrt(r.RSS / r.DoF)
}

// U returns the standard uncertainty of coefficient i with the residual
// standard deviation s.
func (r Result) U(i int, s float64) float64 { return s * math.Sqrt(r.Unscaled.At(i, i)) }

// Variance returns x' (X'WX)^-1 x: times S^2 the variance of x' Coef.
func (r Result) Variance(x []float64) float64 {
	v := 0.0
	for i, a := range x {
		for j, b := range x {
			v += a * b * r.Unscaled.At(i, j)
		}
	}
	return math.Max(v, 0)
}

// Predict returns x' Coef.
func (r Result) Predict(x []float64) float64 {
	s := 0.0
	for i, a := range x {
		s += a * r.Coef[i]
	}
	return s
}

// Least fits y = X b by weighted least squares: it minimises
// sum w_i (y_i - x_i b)^2. rows is X, n rows of p terms; y has n values; w has
// n weights (inverse variances up to a factor, >= 0), nil for equal ones. Rows
// of weight 0 are predicted (they have a residual) but do not count.
//
// The design is scaled column by column and solved by singular values.
//
// Errors: ErrNotFinite, ErrTooFew (n < p or no terms). It panics if the lengths
// differ.
func Least(rows [][]float64, y, w []float64) (Result, error) {
	x, z, scale, n, err := scaled(rows, y, w)
	if err != nil {
		return Result{}, err
	}
	p := len(scale)
	var svd mat.SVD
	if !svd.Factorize(x, mat.SVDThin) {
		return Result{}, fmt.Errorf("%w: no singular values", ErrNotFinite)
	}
	s := svd.Values(nil)
	r := Result{N: n, Coef: make([]float64, p), Residuals: make([]float64, len(y)), Unscaled: mat.NewSymDense(p, nil), Condition: math.Inf(1)}
	for r.Rank < p && s[r.Rank] > rankTolerance*s[0] {
		r.Rank++
	}
	if r.Rank == p {
		r.Condition = s[0] / s[p-1]
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	for l := range r.Rank {
		dot := mat.Dot(u.ColView(l), z)
		for i := range p {
			a := v.At(i, l) / s[l] / scale[i]
			r.Coef[i] += a * dot
			for j := i; j < p; j++ {
				r.Unscaled.SetSym(i, j, r.Unscaled.At(i, j)+a*v.At(j, l)/s[l]/scale[j])
			}
		}
	}
	for i, row := range rows {
		r.Residuals[i] = y[i] - r.Predict(row)
		r.RSS += weight(w, i) * r.Residuals[i] * r.Residuals[i]
	}
	r.DoF = float64(n - r.Rank)
	return r, nil
}

func weight(w []float64, i int) float64 {
	if w == nil {
		return 1
	}
	return w[i]
}

// scaled returns the weighted design with columns of length 1, the weighted
// values, the lengths that the columns had (1 for a column of zeros), and how
// many rows have a weight.
func scaled(rows [][]float64, y, w []float64) (x *mat.Dense, z *mat.VecDense, scale []float64, n int, err error) {
	if len(rows) != len(y) || w != nil && len(w) != len(y) {
		panic(fmt.Sprintf("fit: %d rows, %d values, %d weights", len(rows), len(y), len(w)))
	}
	if len(rows) == 0 || len(rows[0]) == 0 {
		return nil, nil, nil, 0, ErrTooFew
	}
	p := len(rows[0])
	x, z, scale = mat.NewDense(len(rows), p, nil), mat.NewVecDense(len(y), nil), make([]float64, p)
	for i, row := range rows {
		if len(row) != p {
			panic(fmt.Sprintf("fit: row %d has %d terms, want %d", i, len(row), p))
		}
		k := math.Sqrt(weight(w, i)) // NaN for a negative one
		if k > 0 {
			n++
		}
		to, sum := x.RawRowView(i), k*y[i]
		for j, v := range row {
			to[j] = k * v
			scale[j] = math.Hypot(scale[j], to[j])
			sum += v
		}
		if z.SetVec(i, k*y[i]); math.IsNaN(sum-sum) || math.IsInf(k, 1) {
			return nil, nil, nil, 0, fmt.Errorf("%w: row %d", ErrNotFinite, i)
		}
	}
	if n < p {
		return nil, nil, nil, 0, fmt.Errorf("%w: %d for %d", ErrTooFew, n, p)
	}
	for j := range scale {
		if scale[j] == 0 {
			scale[j] = 1
		}
	}
	for i := range rows {
		for j, to := 0, x.RawRowView(i); j < p; j++ {
			to[j] /= scale[j]
		}
	}
	return x, z, scale, n, nil
}
