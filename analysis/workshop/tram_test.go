package workshop_test

import (
	"math"
	"math/rand/v2"
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

// TestLevel: over many gaugings the intervals of what a support has to move hold the
// truth, with heights that drift, beds that bow and beams that bow, and are not wide where
// nothing does. The truth is the straight part of the surface (its Legendre term), by hand.
func TestLevel(t *testing.T) {
	const jobs, a, b = 500, 0.002, -0.001
	support := []workshop.Support{{X: 0, Y: 0}, {X: 235, Y: 0}, {X: 117, Y: 235}}
	for name, c := range map[string]struct{ drift, bowX, bowY, twist float64 }{
		"flat": {}, "drift": {drift: 0.1}, "a bowed bed": {bowX: 0.15, bowY: -0.12}, "a bowed beam": {bowX: -0.2}, "all": {-0.05, 0.1, 0.1, 0.08},
	} {
		rng := rand.New(rand.NewPCG(8, 55))
		held, width := 0.0, 0.0
		for range jobs {
			met := visits()
			last := met[len(met)-1].T
			for i := range met {
				m := &met[i]
				t, s := (m.X-117.5)/109.5, (m.Y-137.5)/89.5
				m.Z = 0.3 + a*m.X + b*m.Y + c.drift*m.T/last + c.bowX*(3*t*t-1)/2 + c.bowY*(3*s*s-1)/2 + c.twist*t*s + 0.01*rng.NormFloat64()
			}
			p, err := workshop.Level(met, 0.01)
			if err != nil {
				t.Fatal(err)
			}
			moves, err := workshop.Tram(p, support, 0.7)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range moves[1:] {
				if want := -a*(m.X-moves[0].X) - b*(m.Y-moves[0].Y); math.Abs(m.Up.Value-want) <= m.Up.U95() {
					held += 0.5 / jobs
				}
			}
			width += moves[1].Up.U95() / jobs
		}
		t.Logf("%s: %.3f held; the first that moves to %.3f mm", name, held, width)
		if held < 0.93 || name == "flat" && width > 0.06 {
			t.Errorf("%s: %.3f of the intervals hold the truth, %.3f mm wide", name, held, width)
		}
	}
	for name, met := range map[string][]workshop.Contact{"three": visits()[:3:3], "one row": {{X: 0, Y: 5}, {X: 1, Y: 5}, {X: 2, Y: 5}, {X: 3, Y: 5}}} {
		if p, err := workshop.Level(met, 0.01); err == nil {
			t.Errorf("%s told %+v", name, p)
		}
	}
}
