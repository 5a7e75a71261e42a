package record_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"abbed/probe/record"
)

// TestReachable: whatever the true limits and lever, the places that are asked for
// lie within them, though the printer prints the limits to 0.1 mm and the lever to 0.01.
func TestReachable(t *testing.T) {
	tenth := func(v float64) float64 { return math.Round(v*10) / 10 }
	printed := func(v float64) float64 { return math.Round(v*100) / 100 }
	rapid.Check(t, func(t *rapid.T) {
		truth := record.Rect{
			X0: rapid.Float64Range(-10, 0).Draw(t, "x0"), Y0: rapid.Float64Range(-10, 0).Draw(t, "y0"),
			X1: rapid.Float64Range(180, 320).Draw(t, "x1"), Y1: rapid.Float64Range(180, 320).Draw(t, "y1"),
		}
		lever := record.Lever{X: rapid.Float64Range(-50, 50).Draw(t, "px"), Y: rapid.Float64Range(-50, 50).Draw(t, "py")}
		s := record.Setup{
			Bed:    record.Rect{X0: -20, Y0: -20, X1: 400, Y1: 400},
			Travel: record.Travel{Rect: record.Rect{X0: tenth(truth.X0), Y0: tenth(truth.Y0), X1: tenth(truth.X1), Y1: tenth(truth.Y1)}},
			Lever:  record.Lever{X: printed(lever.X), Y: printed(lever.Y)},
		}
		r := s.Reachable()
		for _, p := range []record.Place{{U: r.X0, V: r.Y0}, {U: r.X1, V: r.Y1}} {
			if !truth.Has(p) {
				t.Errorf("the nozzle at %v, travel %+v", p, truth)
			}
			if q := (record.Place{U: p.U - lever.X, V: p.V - lever.Y}); !truth.Has(q) {
				t.Errorf("touched at %v the nozzle is at %v, travel %+v", p, q, truth)
			}
		}
	})
}
