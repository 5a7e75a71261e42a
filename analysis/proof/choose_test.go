package proof_test

import (
	"math/rand/v2"
	"testing"

	"abbed/analysis/proof"
	"abbed/probe/record"
)

// TestEdges: wherever the zero place is, and whatever the run leaves in doubt, no corner
// is missing among the places that are chosen.
func TestEdges(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		w, h := 80+220*rng.Float64(), 80+220*rng.Float64()
		c := proof.Case{Area: record.Rect{X1: w, Y1: h}, ZeroU: w * (0.1 + 0.8*rng.Float64()), ZeroV: h * (0.1 + 0.8*rng.Float64()), Tolerance: 0.03, Corrected: true}
		if k := 0.03 * rng.Float64(); rng.Float64() < 0.7 {
			x, y := w*rng.Float64(), h*rng.Float64()
			c.Between = func(a, b record.Place) float64 {
				f := func(p record.Place) float64 { return (p.U-c.ZeroU)*(p.U-x)/w/w + (p.V-c.ZeroV)*(p.V-y)/h/h }
				return k * k * f(a) * f(b)
			}
		}
		offered := []record.Place{{U: c.ZeroU, V: c.ZeroV}}
		for i := range 25 {
			offered = append(offered, record.Place{U: w * float64(i%5) / 4, V: h * float64(i/5) / 4})
		}
		has := map[int]bool{}
		for _, i := range proof.Choose(c, offered, proof.Places) {
			has[i] = true
		}
		if len(has) != proof.Places || !has[1] || !has[5] || !has[21] || !has[25] {
			t.Fatalf("%v of %+v", has, c)
		}
	}
}
