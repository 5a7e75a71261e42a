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

// illCondition is the condition of the scaled design from which singular
// values take over from QR: beyond it half of a float's digits are gone.
const illCondition = 1e7

// rankTolerance is the share of the largest singular value below which a
// direction counts as not there.
const rankTolerance = 1e-13

// Result is a weighted least squares fit.
type Result struct {
	// Coef are the coefficients.
	Coef []float64
	// Unscaled is (X'WX)^-1: times S^2 it is the covariance of Coef.
	Unscaled *mat.SymDense
	// Residuals are y - X Coef, without weight; Hat the leverages, 0..1.
	Residuals []float64
	Hat       []float64
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
// The design is scaled column by column and solved by Householder QR; from a
// condition of 1e7 on by singular values.
//
// Errors: ErrNotFinite, ErrTooFew (n < p or no terms). It panics if the lengths
// differ.
func Least(rows [][]float64, y, w []float64) (Result, error) {
	n, p, err := check(rows, y, w)
	if err != nil {
		return Result{}, err
	}
	if n < p {
		return Result{}, fmt.Errorf("%w: %d for %d", ErrTooFew, n, p)
	}
	x, z, scale := scaled(rows, y, w, p)
	r := Result{N: n}
	qr := new(mat.QR)
	qr.Factorize(x)
	r.Condition = qr.Cond()
	if r.Condition < illCondition {
		r.byQR(qr, x, z, scale)
	} else {
		r.bySVD(x, z, scale)
	}
	r.leave(rows, y, w)
	return r, nil
}

// check refuses what must not enter and counts the rows that have a weight.
func check(rows [][]float64, y, w []float64) (n, p int, err error) {
	if len(rows) != len(y) || w != nil && len(w) != len(y) {
		panic(fmt.Sprintf("fit: %d rows, %d values, %d weights", len(rows), len(y), len(w)))
	}
	if len(rows) == 0 || len(rows[0]) == 0 {
		return 0, 0, ErrTooFew
	}
	p = len(rows[0])
	for i, row := range rows {
		if len(row) != p {
			panic(fmt.Sprintf("fit: row %d has %d terms, want %d", i, len(row), p))
		}
		if !allFinite(row) || !allFinite(y[i:i+1]) || w != nil && (!allFinite(w[i:i+1]) || w[i] < 0) {
			return 0, 0, fmt.Errorf("%w: row %d", ErrNotFinite, i)
		}
		if w == nil || w[i] > 0 {
			n++
		}
	}
	return n, p, nil
}

func allFinite(vs []float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// scaled returns the weighted design with columns of length 1, the weighted
// values, and the lengths that the columns had (1 for a column of zeros).
func scaled(rows [][]float64, y, w []float64, p int) (*mat.Dense, *mat.VecDense, []float64) {
	n := len(rows)
	x := mat.NewDense(n, p, nil)
	z := mat.NewVecDense(n, nil)
	scale, most := make([]float64, p), make([]float64, p)
	for i, row := range rows {
		k := 1.0
		if w != nil {
			k = math.Sqrt(w[i])
		}
		z.SetVec(i, k*y[i])
		to := x.RawRowView(i)
		for j, v := range row {
			to[j] = k * v
			most[j] = math.Max(most[j], math.Abs(to[j]))
		}
	}
	for i := range n {
		for j, v := range x.RawRowView(i) {
			if most[j] > 0 {
				v /= most[j]
				scale[j] += v * v
			}
		}
	}
	for j := range scale {
		if scale[j] = most[j] * math.Sqrt(scale[j]); scale[j] == 0 {
			scale[j] = 1
		}
	}
	for i := range n {
		row := x.RawRowView(i)
		for j := range row {
			row[j] /= scale[j]
		}
	}
	return x, z, scale
}

func (r *Result) byQR(qr *mat.QR, x *mat.Dense, z *mat.VecDense, scale []float64) {
	n, p := x.Dims()
	r.Rank = p
	b := mat.NewVecDense(p, nil)
	if err := qr.SolveVecTo(b, false, z); err != nil {
		r.bySVD(x, z, scale)
		return
	}
	var full, inv mat.Dense
	qr.RTo(&full)
	rt := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			rt.SetTri(i, j, full.At(i, j))
		}
	}
	var ri mat.TriDense
	if err := ri.InverseTri(rt); err != nil {
		r.bySVD(x, z, scale)
		return
	}
	r.cov(&ri, p, scale)
	inv.Mul(x, &ri)
	r.Hat = make([]float64, n)
	for i := range n {
		for _, v := range inv.RawRowView(i) {
			r.Hat[i] += v * v
		}
	}
	r.Coef = unscale(b, scale)
}

// cov sets Unscaled to V V' with the scale taken back.
func (r *Result) cov(v mat.Matrix, p int, scale []float64) {
	_, k := v.Dims()
	r.Unscaled = mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			s := 0.0
			for l := range k {
				s += v.At(i, l) * v.At(j, l)
			}
			r.Unscaled.SetSym(i, j, s/scale[i]/scale[j])
		}
	}
}

func unscale(b *mat.VecDense, scale []float64) []float64 {
	out := make([]float64, len(scale))
	for j := range out {
		out[j] = b.AtVec(j) / scale[j]
	}
	return out
}

func (r *Result) bySVD(x *mat.Dense, z *mat.VecDense, scale []float64) {
	n, p := x.Dims()
	var svd mat.SVD
	if !svd.Factorize(x, mat.SVDThin) {
		r.Condition = math.Inf(1)
		r.Coef, r.Hat, r.Unscaled = make([]float64, p), make([]float64, n), mat.NewSymDense(p, nil)
		return
	}
	s := svd.Values(nil)
	r.Rank = 0
	for _, v := range s {
		if v > rankTolerance*s[0] && v > 0 {
			r.Rank++
		}
	}
	r.Condition = math.Inf(1)
	if r.Rank == p {
		r.Condition = s[0] / s[p-1]
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	b := mat.NewVecDense(p, nil)
	half := mat.NewDense(p, max(r.Rank, 1), nil)
	r.Hat = make([]float64, n)
	for l := range r.Rank {
		dot := mat.Dot(u.ColView(l), z)
		for j := range p {
			b.SetVec(j, b.AtVec(j)+v.At(j, l)*dot/s[l])
			half.Set(j, l, v.At(j, l)/s[l])
		}
		for i := range n {
			r.Hat[i] += u.At(i, l) * u.At(i, l)
		}
	}
	r.cov(half, p, scale)
	r.Coef = unscale(b, scale)
}

// leave computes what the fit leaves.
func (r *Result) leave(rows [][]float64, y, w []float64) {
	r.Residuals = make([]float64, len(y))
	for i, row := range rows {
		e := y[i] - r.Predict(row)
		r.Residuals[i] = e
		if w != nil {
			r.RSS += w[i] * e * e
		} else {
			r.RSS += e * e
		}
	}
	r.DoF = float64(r.N - r.Rank)
}
