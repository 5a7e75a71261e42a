package fit_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"abbed/analysis/fit"
)

// Select is the same fit as Least with the priors as rows of their own: a prior
// about m with precision q is an observation of the coefficient, m, of weight q
// (Gelman and others, Bayesian Data Analysis, 14.8; from memory).
func TestNormal(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	var rows [][]float64
	var y, w []float64
	for range 20 {
		x := 2*r.Float64() - 1
		rows = append(rows, []float64{1, x, (3*x*x - 1) / 2, r.NormFloat64(), (5*x*x*x - 3*x) / 2})
		y, w = append(y, 0.3+0.1*x+0.01*r.NormFloat64()), append(w, 0.5+r.Float64())
	}
	w[4] = 0
	n, err := fit.NewNormal(rows, y, w)
	if err != nil || n.N != 19 {
		t.Fatal(n.N, err)
	}
	idx, precision, mean := []int{0, 1, 4}, []float64{0, 2, 0.3}, []float64{0, 0.5, -0.2}
	s, ok := n.Select(idx, precision, mean)
	if !ok {
		t.Fatal("not told apart")
	}
	var few [][]float64
	for _, row := range rows {
		few = append(few, []float64{row[0], row[1], row[4]})
	}
	few = append(few, []float64{0, 1, 0}, []float64{0, 0, 1})
	want, err := fit.Least(few, append(y, 0.5, -0.2), append(w, 2, 0.3))
	if err != nil {
		t.Fatal(err)
	}
	alike(t, "coefficients", s.Coef, want.Coef, 1e-9)
	alike(t, "sum of squares", []float64{s.RSS}, []float64{want.RSS}, 1e-9)
	inv := s.Unscaled()
	for i := range idx {
		for j := range idx {
			alike(t, "covariance", []float64{inv.At(i, j)}, []float64{want.Unscaled.At(i, j)}, 1e-9)
		}
	}
	// det by hand from the inverse of a 3 x 3 (Sarrus).
	a := func(i, j int) float64 { return want.Unscaled.At(i, j) }
	det := a(0, 0)*(a(1, 1)*a(2, 2)-a(1, 2)*a(2, 1)) - a(0, 1)*(a(1, 0)*a(2, 2)-a(1, 2)*a(2, 0)) + a(0, 2)*(a(1, 0)*a(2, 1)-a(1, 1)*a(2, 0))
	alike(t, "ln det", []float64{s.LogDet}, []float64{-math.Log(det)}, 1e-9)
	// An observation made lighter is one that was lighter from the beginning.
	light := slices.Clone(w)
	light[7] /= 10
	m, _ := fit.NewNormal(rows, y, light)
	a1, _ := n.Lighter(rows[7], y[7], w[7]-light[7]).Select(idx, precision, mean)
	a2, _ := m.Select(idx, precision, mean)
	alike(t, "lighter", append(slices.Clone(a1.Coef), a1.RSS, a1.LogDet), append(slices.Clone(a2.Coef), a2.RSS, a2.LogDet), 1e-9)
	// Two columns alike are not told apart without a prior.
	for i := range rows {
		rows[i][3] = rows[i][1]
	}
	n, _ = fit.NewNormal(rows, y, w)
	if _, ok := n.Select([]int{0, 1, 3}, make([]float64, 3), make([]float64, 3)); ok {
		t.Error("two columns alike were told apart")
	}
	if _, ok := n.Select([]int{0, 1, 3}, []float64{0, 1, 1}, make([]float64, 3)); !ok {
		t.Error("priors tell two columns alike apart, each half of the sum")
	}
}
