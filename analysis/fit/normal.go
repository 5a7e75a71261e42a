package fit

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// Normal holds the normal equations of one set of observations, from which many
// selections of terms can be fitted at once, each with its own prior: a few
// microseconds a selection where Least takes twenty. The condition is squared by
// them, so the terms must be tame (scaled to about one, at wide angles); for one
// fit of anything take Least.
type Normal struct {
	gram *mat.SymDense
	xy   []float64
	yy   float64
	// N is how many observations have a weight.
	N int
}

// NewNormal returns the normal equations of rows (n rows of p terms), y and w as
// Least takes them. Errors: ErrNotFinite, ErrTooFew without any observation. It
// panics if the lengths differ.
func NewNormal(rows [][]float64, y, w []float64) (Normal, error) {
	_, p, err := check(rows, y, w)
	if err != nil {
		return Normal{}, err
	}
	n := Normal{gram: mat.NewSymDense(p, nil), xy: make([]float64, p)}
	for i, row := range rows {
		k := 1.0
		if w != nil {
			k = w[i]
		}
		if k == 0 {
			continue
		}
		n.N++
		n.yy += k * y[i] * y[i]
		for a, x := range row {
			n.xy[a] += k * x * y[i]
			for b := a; b < p; b++ {
				n.gram.SetSym(a, b, n.gram.At(a, b)+k*x*row[b])
			}
		}
	}
	return n, nil
}

// Lighter returns the normal equations with the weight of one observation less by
// less.
func (n Normal) Lighter(row []float64, y, less float64) Normal {
	out := Normal{gram: mat.NewSymDense(len(row), nil), xy: make([]float64, len(row)), yy: n.yy - less*y*y, N: n.N}
	for a, x := range row {
		out.xy[a] = n.xy[a] - less*x*y
		for b := a; b < len(row); b++ {
			out.gram.SetSym(a, b, n.gram.At(a, b)-less*x*row[b])
		}
	}
	return out
}

// Selection is the fit of some of the terms with their priors.
type Selection struct {
	// Coef are the coefficients of the selected terms.
	Coef []float64
	// RSS is the weighted sum of squared residuals with what the priors add:
	// sum precision (b - mean)^2.
	RSS float64
	// LogDet is ln det(X'WX + diag(precision)).
	LogDet float64

	factor blas64.Triangular
}

// Select fits the terms idx, term k with a normal prior about mean[k] of the
// given precision (in units of the observations' weights; 0: free). ok is false
// where the terms are not told apart: where the factor's diagonal spreads so far
// that the condition is beyond what double precision bears (Higham, Accuracy and
// Stability of Numerical Algorithms, 8.3: the spread is a lower bound of it; from
// memory). The condition itself would cost as much as the fit.
func (n Normal) Select(idx []int, precision, mean []float64) (s Selection, ok bool) {
	p := len(idx)
	a := blas64.Symmetric{Uplo: blas.Upper, N: p, Stride: p, Data: make([]float64, p*p)}
	x := make([]float64, 2*p)
	x, b := x[:p:p], x[p:]
	yy := n.yy
	for i, ti := range idx {
		for j := i; j < p; j++ {
			a.Data[i*p+j] = n.gram.At(ti, idx[j])
		}
		a.Data[i*p+i] += precision[i]
		b[i] = n.xy[ti] + precision[i]*mean[i]
		yy += precision[i] * mean[i] * mean[i]
	}
	if s.factor, ok = lapack64.Potrf(a); !ok {
		return s, false
	}
	lo, hi := math.Inf(1), 0.0
	for i := range p {
		d := s.factor.Data[i*p+i]
		lo, hi = math.Min(lo, d), math.Max(hi, d)
		s.LogDet += 2 * math.Log(d)
	}
	if hi*hi > illCondition*lo*lo {
		return s, false
	}
	copy(x, b)
	lapack64.Potrs(s.factor, blas64.General{Rows: p, Cols: 1, Stride: 1, Data: x})
	s.Coef = x
	for i := range p {
		yy -= x[i] * b[i]
	}
	s.RSS = math.Max(yy, 0)
	return s, true
}

// Unscaled returns (X'WX + diag(precision))^-1.
func (s Selection) Unscaled() *mat.SymDense {
	p := s.factor.N
	t := s.factor
	t.Data = append([]float64(nil), t.Data...)
	inv, _ := lapack64.Potri(t) // cannot fail: Select factored it
	return mat.NewSymDense(p, inv.Data)
}
