package main

import (
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"

	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestThickness: readings of a proof print that come after the run are kept with it.
// Without a correction they agree with the gauging and make it surer, or contradict
// it; with one in force they prove or disprove it, and leave the fit as it was. They
// are there after a restart.
func TestThickness(t *testing.T) {
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 2})
		w := open(t, dir, sc, &cable{printer: printer})
		p := &person{api: w.api, feel: printer.Blade, rnd: rand.New(rand.NewPCG(1, 2)), name: "the played person"}
		run, err := p.measure(t.Context(), "repeat", "gauging")
		if err != nil {
			t.Fatal(err)
		}
		var places [][2]float64
		pr, err := w.api.Printer(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		places = append(places, [2]float64{pr.Zero.Value.X, pr.Zero.Value.Y})
		for j := range 6 {
			for i := range 7 {
				places = append(places, [2]float64{40 + 25*float64(i), 60 + 25*float64(j)})
			}
		}
		before, err := w.api.Gap(t.Context(), run.ID, places)
		if err != nil {
			t.Fatal(err)
		}
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
			a, err := w.api.Thickness(t.Context(), run.ID, ask)
			if err != nil {
				t.Fatal(err)
			}
			return a
		}
		doubt := func() float64 {
			gaps, err := w.api.Gap(t.Context(), run.ID, places)
			if err != nil {
				t.Fatal(err)
			}
			sum := 0.0
			for _, g := range gaps {
				if g.U95 != nil {
					sum += *g.U95
				}
			}
			return sum
		}
		alone := doubt()
		if a := read(1, "none"); a.Verdict != "agrees" || a.Share == nil || math.Abs(a.Share.Value-1) > 0.15 {
			t.Errorf("true patches: %+v", a)
		}
		joined := doubt()
		if !(joined < alone) {
			t.Errorf("the patches made nothing surer: %.4f, alone %.4f", joined, alone)
		}
		if a := read(0, "map"); a.Verdict == "disproved" {
			t.Errorf("nothing was left: %+v", a)
		}
		if a := read(1, "file"); a.Verdict != "disproved" {
			t.Errorf("all was left: %+v", a)
		}
		if again := doubt(); again != joined {
			t.Errorf("what was printed with a correction changed the fit: %.6f, was %.6f", again, joined)
		}
		for name, bad := range map[string]api.Thickness{
			"nothing said":  {CSV: "patch,thickness\n1,0.2\n"},
			"no reading":    {InForce: "none"},
			"another plan":  {InForce: "none", CSV: "patch,thickness\n1,0.2\n", Plan: "00000000"},
			"off the bed":   {InForce: "none", CSV: "u,v,thickness\n900,10,0.2\n"},
			"a wrong value": {InForce: "none", CSV: "u,v,thickness\n100,100,21\n"},
		} {
			if _, err := w.api.Thickness(t.Context(), run.ID, bad); err == nil {
				t.Errorf("%s was taken", name)
			}
		}
		safe(t, w)
		w.close()
		w = open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		if again := doubt(); math.Abs(again-joined) > 1e-9 {
			t.Errorf("after a restart the doubt is %.6f, was %.6f", again, joined)
		}
	})
}
