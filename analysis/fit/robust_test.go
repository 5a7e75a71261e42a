package fit_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"

	"abbed/analysis/fit"
)

// The median by parting is the one of the sorted list (gonum's quantile at one
// half, the mean of both sides), with ties, in order, backwards and as it comes,
// and x stays as it was.
func TestMedian(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	for range 3000 {
		x := make([]float64, 1+r.IntN(120))
		for i := range x {
			x[i] = float64(r.IntN(1 + r.IntN(60)))
		}
		switch r.IntN(3) {
		case 0:
			slices.Sort(x)
		case 1:
			slices.Sort(x)
			slices.Reverse(x)
		}
		was, sorted := slices.Clone(x), slices.Sorted(slices.Values(x))
		got := fit.Median(x)
		up := stat.Quantile(0.5, stat.Empirical, sorted, nil)
		slices.Reverse(sorted)
		down := sorted[(len(sorted)-1)/2]
		if len(x)%2 == 1 && up != down {
			t.Fatal("the check itself")
		}
		if want := up/2 + down/2; got != want || !slices.Equal(x, was) {
			t.Fatalf("%v: %g, want %g", was, got, want)
		}
	}
}
