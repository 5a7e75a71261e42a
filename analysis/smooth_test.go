package analysis_test

import (
	"fmt"
	"math"
	"testing"

	"abbed/analysis"
)

// A twist along Y is ten times as large as the noise and says nothing of the
// columns' means: the profile must come out as well with it as without. Compared is
// the error against the known truth, the same seeds with and without the twist.
func TestProfileUnderATwist(t *testing.T) {
	n := needOf(235, 0.005)
	for _, c := range []struct {
		name string
		f    func(x, y float64) float64
	}{
		{"S shape", func(x, y float64) float64 { return 0.1 * x * x * x }},
		{"wave", func(x, y float64) float64 { return 0.05 * math.Sin(4*x) }},
		{"ripple of 75 mm", func(x, y float64) float64 { return 0.02 * math.Sin(97.5*x*2*math.Pi/75) }},
	} {
		rms := func(twist float64) float64 {
			m := good()
			m.gap = shaped(func(x, y float64) float64 { return c.f(x, y) + twist*x*y })
			p := standard()
			p.places = nil
			ss, all := 0.0, 0.0
			for seed := range 10 {
				v := analysis.Judge(simulate(m, p, uint64(seed)+1))
				if v.Profile == nil {
					t.Fatalf("%s: no profile", c.name)
				}
				for _, e := range profileErrors(v.Profile, m, n) {
					ss, all = ss+e*e, all+1
				}
			}
			return 1000 * math.Sqrt(ss/all)
		}
		without, with := rms(0), rms(0.15)
		if !*quiet {
			fmt.Printf("%-16s profile's rms error %.1f um, under a twist along Y %.1f um\n", c.name, without, with)
		}
		if with > 1.2*without {
			t.Errorf("%s: the profile's rms error is %.1f um under a twist along Y, %.1f um without it", c.name, with, without)
		}
	}
}
