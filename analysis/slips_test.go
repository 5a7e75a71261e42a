package analysis_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"abbed/analysis"
)

// Slips of the hand by a tenth of a millimetre: one of twelve records, three of
// twenty. That a record may be wild competes with every shape that it alone makes.
// (Two of twelve at places that were gauged once can bear each other out: then the
// answer may be wrong by more than its doubt in one run of five. Second records at
// each place end that.)
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		name     string
		p        plan
		slips    int
		coverage float64
		rms      float64 // um
	}{{"one of twelve", standard(), 1, 0.93, 8}, {"three of twenty", twenty(), 3, 0.93, 14}} {
		m := good()
		m.gap = shaped(func(x, y float64) float64 { return 0.1 * x })
		inside, all, ss := 0, 0, 0.0
		for seed := range uint64(max(*seeds, 20)) {
			run := simulate(m, c.p, seed+1)
			r := rand.New(rand.NewPCG(seed, 8))
			for _, i := range r.Perm(len(run.Gaugings))[:c.slips] {
				run.Gaugings[i].Z += math.Copysign(0.1, r.Float64()-0.5)
			}
			v := analysis.Judge(run)
			if v.Gap == nil {
				continue
			}
			for _, p := range grid(c.p.reach, 5, 5) {
				g, u, _ := v.Gap.At(p)
				e := g - m.trueGap(p, c.p.zero)
				ss += e * e
				if all++; math.Abs(e) <= u {
					inside++
				}
			}
		}
		rms := 1000 * math.Sqrt(ss/float64(all))
		t.Logf("%s: coverage %.3f, rms %.1f um", c.name, float64(inside)/float64(all), rms)
		if float64(inside) < c.coverage*float64(all) || rms > c.rms {
			t.Errorf("%s: coverage %.3f, rms %.1f um", c.name, float64(inside)/float64(all), rms)
		}
	}
}
