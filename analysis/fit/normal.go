package fit

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// Normal holds the normal equations of one set of observations, from which many
// selections of terms can be fitted at once, each with its own priors: less than a
// microsecond a selection where Least takes twenty. The condition is squared by
// them, so the terms must be tame (scaled to about one, at wide angles); for one
// fit of anything take Least.
type Normal struct {
	p    int
	gram []float64 // p x p, whole
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
	n := Normal{p: p, gram: make([]float64, p*p), xy: make([]float64, p)}
	for i, row := range rows {
		k := 1.0
		if w != nil {
			k = w[i]
		}
		if k == 0 {
			continue
		}
		n.N++
		n.add(row, y[i], k)
	}
	return n, nil
}

// Lighter returns the normal equations with the weight of one observation less by
// less.
func (n Normal) Lighter(row []float64, y, less float64) Normal {
	n.gram = append([]float64(nil), n.gram...)
	n.xy = append([]float64(nil), n.xy...)
	n.add(row, y, -less)
	return n
}

func (n *Normal) add(row []float64, y, w float64) {
	n.yy += w * y * y
	for a, x := range row {
		if x == 0 {
			continue
		}
		n.xy[a] += w * x * y
		to := n.gram[a*n.p : (a+1)*n.p]
		for b, z := range row {
			to[b] += w * x * z
		}
	}
}

// Prior is one term of a selection with its normal prior about Mean, of the given
// precision in units of the observations' weights; precision 0: free.
type Prior struct {
	Term            int
	Precision, Mean float64
}

// Factor is Cholesky's factor of X'WX + diag(precision) for one selection of terms,
// with the right side carried along. Taken from one selection to the next, it keeps
// what both begin with, and its room: selections that are alike in their first terms
// cost their last ones only. It belongs to one Normal.
type Factor struct {
	terms []Prior
	l     []float64 // row i begins at i (i+1) / 2
	z     []float64 // l z = X'Wy + precision mean
	yy    []float64 // what the priors of the terms up to i add to y'Wy
}

// Selection is the fit of some of the terms with their priors.
type Selection struct {
	// RSS is the weighted sum of squared residuals with what the priors add:
	// sum precision (b - mean)^2.
	RSS float64
	// LogDet is ln det(X'WX + diag(precision)).
	LogDet float64
}

// Select fits the terms. ok is false where they are not told apart: where the
// factor's diagonal spreads so far that the condition is beyond what double
// precision bears (Higham, Accuracy and Stability of Numerical Algorithms, 8.3: the
// spread is a lower bound of it; from memory). The condition itself would cost as
// much as the fit.
func (n Normal) Select(f *Factor, terms []Prior) (s Selection, ok bool) {
	f.alike(terms)
	for i := len(f.terms); i < len(terms); i++ {
		if !n.border(f, terms[i]) {
			return s, false
		}
	}
	lo, hi, det := math.Inf(1), 0.0, 1.0
	s.RSS = n.yy
	if k := len(terms); k > 0 {
		s.RSS += f.yy[k-1]
	}
	for i := range terms {
		d := f.l[i*(i+3)/2]
		lo, hi, det = math.Min(lo, d), math.Max(hi, d), det*d
		s.RSS -= f.z[i] * f.z[i]
	}
	s.LogDet = 2 * math.Log(det)
	s.RSS = math.Max(s.RSS, 0)
	return s, hi*hi <= illCondition*lo*lo
}

// alike shortens the factor to what it and the terms begin with.
func (f *Factor) alike(terms []Prior) {
	k := 0
	for k < len(f.terms) && k < len(terms) && f.terms[k] == terms[k] {
		k++
	}
	f.terms, f.l, f.z, f.yy = f.terms[:k], f.l[:k*(k+1)/2], f.z[:k], f.yy[:k]
}

// border adds one term to the factor: a row of Cholesky's (Golub, Van Loan, Matrix
// Computations, 4.2; from memory). false where it depends on those before it.
func (n Normal) border(f *Factor, t Prior) bool {
	k := len(f.terms)
	at := n.gram[t.Term*n.p : (t.Term+1)*n.p]
	begin := len(f.l)
	d := at[t.Term] + t.Precision
	z := n.xy[t.Term] + t.Precision*t.Mean
	for i, before := range f.terms {
		row := f.l[i*(i+1)/2:]
		v := at[before.Term]
		for j := range i {
			v -= row[j] * f.l[begin+j]
		}
		v /= row[i]
		f.l = append(f.l, v)
		d -= v * v
		z -= v * f.z[i]
	}
	if !(d > 0) {
		f.l = f.l[:begin]
		return false
	}
	d = math.Sqrt(d)
	yy := t.Precision * t.Mean * t.Mean
	if k > 0 {
		yy += f.yy[k-1]
	}
	f.terms, f.l, f.z, f.yy = append(f.terms, t), append(f.l, d), append(f.z, z/d), append(f.yy, yy)
	return true
}

// Solve returns the coefficients of the terms that were selected last, in their
// order, and (X'WX + diag(precision))^-1; nothing for none.
func (f *Factor) Solve() (coef []float64, unscaled *mat.SymDense) {
	p := len(f.terms)
	if p == 0 {
		return nil, new(mat.SymDense)
	}
	coef = make([]float64, p)
	for i := p - 1; i >= 0; i-- {
		v := f.z[i]
		for k := i + 1; k < p; k++ {
			v -= f.l[k*(k+1)/2+i] * coef[k]
		}
		coef[i] = v / f.l[i*(i+3)/2]
	}
	t := blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: p, Stride: p, Data: make([]float64, p*p)}
	for i := range p {
		for k := i; k < p; k++ {
			t.Data[i*p+k] = f.l[k*(k+1)/2+i]
		}
	}
	inv, _ := lapack64.Potri(t) // cannot fail: the diagonal is above 0
	return coef, mat.NewSymDense(p, inv.Data)
}
