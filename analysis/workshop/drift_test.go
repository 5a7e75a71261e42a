package workshop_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"abbed/analysis/workshop"
)

// visits are the places of a gauging in the order of design: the zero place, outward
// along X, the other rows, two records each, and the zero place again at the end; a
// record takes half a minute.
func visits() (out []workshop.Contact) {
	for _, p := range [][2]float64{{117, 117}, {172, 117}, {227, 117}, {62, 117}, {8, 117}, {8, 48}, {227, 48}, {227, 172}, {227, 227}, {8, 172}, {8, 227}} {
		for range 2 {
			out = append(out, workshop.Contact{X: p[0], Y: p[1], T: 30 * float64(len(out))})
		}
	}
	return append(out, workshop.Contact{X: 117, Y: 117, T: 30 * float64(len(out))})
}

// TestLevelDrifting: over many gaugings of a known plane, the intervals of the slopes
// and of what a support has to move hold the truth, with heights that drift by a
// tenth of a millimetre as well as without; the drift's does too.
func TestLevelDrifting(t *testing.T) {
	const jobs, a, b = 2000, 0.002, -0.001
	support := []workshop.Support{{X: 0, Y: 0}, {X: 235, Y: 0}, {X: 117, Y: 235}}
	for _, drift := range []float64{0, 0.1, -0.03} {
		rng := rand.New(rand.NewPCG(8, 55))
		held, width := map[string]int{}, 0.0
		for range jobs {
			met := visits()
			last := met[len(met)-1].T
			for i := range met {
				c := &met[i]
				c.Z = 0.3 + a*c.X + b*c.Y + drift*c.T/last + 0.01*rng.NormFloat64()
			}
			p, err := workshop.Level(met)
			if err != nil || p.Drift == nil {
				t.Fatal(p, err)
			}
			moves, err := workshop.Tram(p, support, 0.7)
			if err != nil {
				t.Fatal(err)
			}
			for name, v := range map[string][2]float64{
				"slope X": {p.A.Value - a, p.A.U95()}, "slope Y": {p.B.Value - b, p.B.U95()}, "drift": {p.Drift.Value - drift, p.Drift.U95()},
			} {
				if math.Abs(v[0]) <= v[1] {
					held[name]++
				}
			}
			for _, m := range moves {
				s := moves[slices.IndexFunc(moves, func(m workshop.Adjustment) bool { return m.Stays })]
				if want := -a*(m.X-s.X) - b*(m.Y-s.Y); !m.Stays && math.Abs(m.Up.Value-want) <= m.Up.U95() {
					held["supports"]++
				}
				width += m.Up.U95() / 2 / jobs
			}
		}
		t.Logf("drift %+.2f mm: %v of %d held; a support to %.3f mm", drift, held, jobs, width)
		for name, n := range held {
			// 0.95 less three standard deviations of a share of 2,000: 0.935; and above 0.97
			// the doubt would be made larger than it is.
			if name == "supports" {
				n /= 2 // two are moved
			}
			if share := float64(n) / jobs; share < 0.935 || share > 0.97 {
				t.Errorf("drift %+.2f mm, %s: %.3f of the intervals hold the truth", drift, name, share)
			}
		}
	}
}

// TestLevelFew: where the drift cannot be told it is not asked for, and nobody is
// told that it is nil.
func TestLevelFew(t *testing.T) {
	for name, met := range map[string][]workshop.Contact{
		"six":      visits()[:6:6],
		"timeless": {{X: 0, Y: 0}, {X: 1, Y: 0}, {X: 2, Y: 0}, {X: 0, Y: 1}, {X: 1, Y: 1}, {X: 2, Y: 1}, {X: 0, Y: 2}},
		"in step":  {{T: 0}, {X: 1, T: 1}, {X: 2, T: 2}, {X: 3, T: 3}, {X: 4, T: 4}, {X: 5, T: 5}, {Y: 5, T: 0}, {Y: 5, X: 3, T: 3}},
	} {
		if name == "six" {
			met[5].Y = 30
		}
		p, err := workshop.Level(met)
		if err != nil || p.Drift != nil {
			t.Errorf("%s: %+v, %v", name, p, err)
		}
	}
}
