package analysis_test

import (
	"fmt"
	"math"
	"testing"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// shapeOf is what somebody takes for granted of a gap error.
type shapeOf struct {
	name  string
	terms []func(x, y float64) float64
}

func power(n int) func(x, y float64) float64 {
	return func(x, _ float64) float64 { return math.Pow(x, float64(n)) }
}

// bestOf is the smallest largest u95 that n records anywhere on a 9 x 3 lattice over the
// standard area can give to one who takes just these terms for granted, um: least
// squares with them, a hand of 10 um, the residual degrees of freedom; places by
// greedy choice and Fedorov's exchange.
func bestOf(s shapeOf, n int) float64 {
	p := standard()
	at := grid(p.reach.Grown(-8), 9, 3)
	row := func(q record.Place) []float64 {
		x, y := (q.U-117.5)/89.5, (q.V-132.5)/74.5
		out := []float64{1, x}
		for _, f := range s.terms {
			out = append(out, f(x, y))
		}
		return out
	}
	zero := row(p.zero)
	worst := func(chosen []int) float64 {
		var rows [][]float64
		for _, i := range chosen {
			rows = append(rows, row(at[i]))
		}
		r, err := fit.Least(rows, make([]float64, len(rows)), nil)
		if err != nil || r.Rank < len(zero) || r.DoF < 1 {
			return math.Inf(1)
		}
		w := 0.0
		for _, q := range at {
			c := row(q)
			for k := range c {
				c[k] -= zero[k]
			}
			w = math.Max(w, r.Variance(c))
		}
		return 1000 * fit.T95(r.DoF) * math.Hypot(0.010, 0.0025) * math.Sqrt(w)
	}
	best := math.Inf(1)
	for start := range 3 {
		chosen := make([]int, n)
		for k := range chosen {
			chosen[k] = (k*(5+2*start) + 3 + start) % len(at)
		}
		best = math.Min(best, exchanged(chosen, len(at), worst))
	}
	return best
}

// exchanged is the least that exchanging one place after another finds.
func exchanged(chosen []int, offers int, worst func([]int) float64) float64 {
	least := worst(chosen)
	for range 6 {
		before := least
		for k := range chosen {
			for i := range offers {
				was := chosen[k]
				chosen[k] = i
				if w := worst(chosen); w < least-1e-9 {
					least = w
				} else {
					chosen[k] = was
				}
			}
		}
		if before-least < 1e-3 {
			break
		}
	}
	return least
}

// TestLeanBound says what twelve records can do at all. Who knows that the gap error is a
// cubic, or a bow along Y and nothing else, gets below 20 um with them. Who has to
// allow for four bends along X, as a wave asks, or for a bow along X beside that along Y,
// does not, wherever the places are: at best some 23 um or more. The lean plan has
// to find the terms besides, and stays above twelve there (TestLean).
func TestLeanBound(t *testing.T) {
	for _, c := range []struct {
		shape shapeOf
		below bool
	}{
		{shapeOf{"cubic", []func(x, y float64) float64{power(2), power(3)}}, true},
		{shapeOf{"bow along Y", []func(x, y float64) float64{along, squareY}}, true},
		{shapeOf{"four bends", []func(x, y float64) float64{power(2), power(3), power(4), power(5)}}, false},
		{shapeOf{"bow along Y, and a bow along X or none", []func(x, y float64) float64{along, squareY, square}}, false},
	} {
		u95 := bestOf(c.shape, 12)
		if !*quiet {
			fmt.Printf("twelve records at the best places, terms known: %-40s largest u95 %.1f um\n", c.shape.name, u95)
		}
		if (u95 <= 20) != c.below {
			t.Errorf("%s: %.1f um with twelve records", c.shape.name, u95)
		}
	}
}
