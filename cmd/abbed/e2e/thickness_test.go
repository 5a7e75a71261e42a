package e2e_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"abbed/daemon/api"
)

// TestThickness: readings of a proof print that come after the run are kept with it.
// Without a correction they agree with the gauging and make it surer, or contradict
// it; with one in force they prove or disprove it, and leave the fit as it was. They
// are there after a restart.
func TestThickness(t *testing.T) {
	t.Parallel()
	measuredHouse(t, 2, 1, []string{"repeat", "gauging"}, func(t *testing.T, m *measuredWorld) {
		pr, err := m.api.Printer(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		places := append([][2]float64{{pr.Zero.Value.X, pr.Zero.Value.Y}}, sevenBySix()...)
		before, alone := m.gaps(places), m.doubt(places)
		rng := rand.New(rand.NewPCG(4, 4))
		read := func(share float64, inForce string) api.Proof {
			ask := api.Thickness{InForce: inForce, Person: "Ida"}
			for i, at := range places {
				if before[i].Gap == nil {
					continue
				}
				own := 0.45 + share**before[i].Gap + 0.01*rng.NormFloat64()
				for range 2 {
					ask.Readings = append(ask.Readings, api.ThicknessReading{U: &at[0], V: &at[1], Thickness: own + 0.003*rng.NormFloat64()})
				}
			}
			a, err := m.api.Thickness(t.Context(), m.run.ID, ask)
			if err != nil {
				t.Fatal(err)
			}
			return a
		}
		if a := read(1, "none"); a.Verdict != "agrees" || a.Share == nil || math.Abs(a.Share.Value-1) > 0.15 {
			t.Errorf("true patches: %+v", a)
		}
		joined := m.doubt(places)
		if !(joined < alone) {
			t.Errorf("the patches made nothing surer: %.4f, alone %.4f", joined, alone)
		}
		if a := read(0, "map"); a.Verdict == "wrong" {
			t.Errorf("nothing was left: %+v", a)
		}
		if a := read(1, "file"); a.Verdict != "wrong" {
			t.Errorf("all was left: %+v", a)
		}
		if again := m.doubt(places); again != joined {
			t.Errorf("what was printed with a correction changed the fit: %.6f, was %.6f", again, joined)
		}
		for name, bad := range map[string]api.Thickness{
			"nothing said":  {CSV: "patch,thickness\n1,0.2\n"},
			"no reading":    {InForce: "none"},
			"another plan":  {InForce: "none", CSV: "patch,thickness\n1,0.2\n", Plan: "00000000"},
			"off the bed":   {InForce: "none", CSV: "u,v,thickness\n900,10,0.2\n"},
			"a wrong value": {InForce: "none", CSV: "u,v,thickness\n100,100,21\n"},
		} {
			if _, err := m.api.Thickness(t.Context(), m.run.ID, bad); err == nil {
				t.Errorf("%s was taken", name)
			}
		}
		safe(t, m.world)
		m.restart()
		if again := m.doubt(places); math.Abs(again-joined) > 1e-9 {
			t.Errorf("after a restart the doubt is %.6f, was %.6f", again, joined)
		}
	})
}
