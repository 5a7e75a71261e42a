package fit_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

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
	terms := []fit.Prior{{0, 0, 0}, {1, 2, 0.5}, {4, 0.3, -0.2}}
	var f fit.Factor
	s, ok := n.Select(&f, terms)
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
	coef, inv := f.Solve()
	alike(t, "coefficients", coef, want.Coef, 1e-9)
	alike(t, "sum of squares", []float64{s.RSS}, []float64{want.RSS}, 1e-9)
	for i := range terms {
		for j := range terms {
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
	var f1, f2 fit.Factor
	a1, _ := n.Lighter(rows[7], y[7], w[7]-light[7]).Select(&f1, terms)
	a2, _ := m.Select(&f2, terms)
	b1, _ := f1.Solve()
	b2, _ := f2.Solve()
	alike(t, "lighter", append(b1, a1.RSS, a1.LogDet), append(b2, a2.RSS, a2.LogDet), 1e-9)
	// Two columns alike are not told apart without a prior.
	for i := range rows {
		rows[i][3] = rows[i][1]
	}
	n, _ = fit.NewNormal(rows, y, w)
	if _, ok := n.Select(new(fit.Factor), []fit.Prior{{0, 0, 0}, {1, 0, 0}, {3, 0, 0}}); ok {
		t.Error("two columns alike were told apart")
	}
	if _, ok := n.Select(new(fit.Factor), []fit.Prior{{0, 0, 0}, {1, 1, 0}, {3, 1, 0}}); !ok {
		t.Error("priors tell two columns alike apart, each half of the sum")
	}
}

// A factor that is taken along from one selection to the next, some of them not
// told apart, gives what a new one gives.
func TestFactorTakenAlong(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	var rows [][]float64
	var y []float64
	for range 12 {
		x := 2*r.Float64() - 1
		rows = append(rows, []float64{1, x, x * x, x, r.NormFloat64()})
		y = append(y, 0.3+0.1*x+0.01*r.NormFloat64())
	}
	n, _ := fit.NewNormal(rows, y, nil)
	var along fit.Factor
	apart := 0
	for range 2000 {
		var terms []fit.Prior
		for k := range rows[0] {
			if r.IntN(2) == 0 {
				terms = append(terms, fit.Prior{Term: k, Precision: float64(r.IntN(2)), Mean: float64(r.IntN(2))})
			}
		}
		var fresh fit.Factor
		a, okA := n.Select(&along, terms)
		b, okB := n.Select(&fresh, terms)
		if okA != okB || okA && a != b {
			t.Fatal(terms, a, b, okA, okB)
		}
		if !okA {
			continue
		}
		apart++
		ca, ua := along.Solve()
		cb, ub := fresh.Solve()
		if !slices.Equal(ca, cb) || len(terms) > 0 && !mat.Equal(ua, ub) {
			t.Fatal(terms, ca, cb)
		}
	}
	if apart < 500 || apart == 2000 {
		t.Errorf("%d selections of 2,000 told apart: the test tries too little", apart)
	}
}
