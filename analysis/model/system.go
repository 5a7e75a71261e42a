package model

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// system is A x = b with A symmetric and positive definite, factored as U'U.
type system struct {
	n int
	a blas64.Symmetric
	u blas64.Triangular
	b []float64
	q []float64 // U'^-1 b
}

func newSystem(n int) *system {
	return &system{n: n, a: blas64.Symmetric{N: n, Stride: n, Uplo: blas.Upper, Data: make([]float64, n*n)}, b: make([]float64, n), q: make([]float64, n)}
}

// factor destroys a; false where it is not positive definite.
func (s *system) factor() (ok bool) {
	s.u, ok = lapack64.Potrf(s.a)
	if ok {
		copy(s.q, s.b)
		blas64.Trsv(blas.Trans, s.u, blas64.Vector{N: s.n, Inc: 1, Data: s.q})
	}
	return ok
}

// explained is b' A^-1 b.
func (s *system) explained() float64 {
	v := 0.0
	for _, x := range s.q {
		v += x * x
	}
	return v
}

// logDet is the logarithm of the determinant of U: half of that of A.
func (s *system) logDet() float64 {
	v := 0.0
	for i := range s.n {
		v += math.Log(s.u.Data[i*s.n+i])
	}
	return v
}

// solve returns x, and the inverse of A.
func (s *system) solve() (x []float64, inverse blas64.Symmetric) {
	x = append([]float64(nil), s.q...)
	blas64.Trsv(blas.NoTrans, s.u, blas64.Vector{N: s.n, Inc: 1, Data: x})
	lapack64.Potri(s.u)
	return x, blas64.Symmetric{N: s.n, Stride: s.n, Uplo: blas.Upper, Data: s.u.Data}
}
