package analysis_test

import (
	"flag"
	"fmt"
	"math"
	"slices"
	"testing"

	"abbed/analysis"
)

var (
	seeds = flag.Int("seeds", 3, "seeds of each Monte Carlo case; 200 for the figures of design/2")
	quiet = flag.Bool("quiet", false, "do not print the tables of the Monte Carlo tests")
)

// truth is one shape of gap error.
type truth struct {
	name   string
	linear bool
	machine
	// mean marks shapes made to mislead the choice of terms: bends of the size
	// of their own doubt, and a wave that no polynomial follows. Their p95 is
	// printed; no design figure holds for them.
	mean bool
}

func truths() []truth {
	of := func(name string, linear bool, f func(x, y float64) float64) truth {
		m := good()
		m.gap = shaped(f)
		return truth{name: name, linear: linear, machine: m}
	}
	dish := of("linear on a dish", true, func(x, y float64) float64 { return 0.15 * x })
	dish.bed = shaped(func(x, y float64) float64 { return 0.2 * (x*x + y*y) })
	hidden := of("quadratic, hidden by a trough", false, func(x, y float64) float64 { return 0.15 * x * x })
	hidden.bed = shaped(func(x, y float64) float64 { return -0.15 * x * x })
	both := of("profile and dish", false, func(x, y float64) float64 { return 0.1*x + 0.1*x*x })
	both.bed = shaped(func(x, y float64) float64 { return 0.1*x*x + 0.05*y*y })
	drifting := of("linear, settling drift", true, func(x, y float64) float64 { return 0.15 * x })
	drifting.drift = func(t float64) float64 { return 0.1 * (1 - math.Exp(-t/600)) }
	coarse := of("linear, reports to 0.01", true, func(x, y float64) float64 { return 0.15 * x })
	coarse.step = 0.01
	small := of("small cubic", false, func(x, y float64) float64 { return 0.1*x + 0.02*x*x - 0.025*x*x*x })
	wave := of("wave", false, func(x, y float64) float64 { return 0.1*x + 0.05*math.Sin(4*x) })
	small.mean, wave.mean = true, true
	return []truth{
		of("constant", true, func(x, y float64) float64 { return 0 }),
		of("linear", true, func(x, y float64) float64 { return 0.15 * x }),
		of("small linear", true, func(x, y float64) float64 { return 0.02 * x }),
		of("quadratic", false, func(x, y float64) float64 { return 0.08*x + 0.1*x*x }),
		of("cubic", false, func(x, y float64) float64 { return 0.1*x + 0.06*x*x + 0.1*x*x*x }),
		small, wave,
		of("linear and ts", false, func(x, y float64) float64 { return 0.1*x + 0.06*x*y }),
		of("linear and s", false, func(x, y float64) float64 { return 0.1*x + 0.06*y }),
		dish, hidden, both, drifting, coarse,
	}
}

// score is what many runs of one truth come to.
type score struct {
	rms          []float64 // of each run, um
	inside, all  int       // contrasts covered by their u95
	width        float64   // mean u95, um
	undetermined int
}

func (s score) p95() float64 {
	if len(s.rms) == 0 {
		return math.NaN()
	}
	r := slices.Clone(s.rms)
	slices.Sort(r)
	return r[min(len(r)*95/100, len(r)-1)]
}

func (s score) p50() float64 {
	if len(s.rms) == 0 {
		return math.NaN()
	}
	r := slices.Clone(s.rms)
	slices.Sort(r)
	return r[len(r)/2]
}

func play(m machine, p plan, n int) score {
	var s score
	for seed := range n {
		s.add(m, p, analysis.Judge(simulate(m, p, uint64(seed)+1)))
	}
	s.width /= float64(max(s.all, 1))
	return s
}

// add counts one verdict; width holds the sum of the u95 until the end.
func (s *score) add(m machine, p plan, v analysis.Verdict) {
	if v.Gap == nil {
		s.undetermined++
		return
	}
	ss, k := 0.0, 0
	for _, at := range grid(p.reach, 7, 7) {
		g, u, why := v.Gap.At(at)
		if why != nil {
			continue
		}
		e := g - m.trueGap(at, p.zero)
		ss += e * e
		k++
		if math.Abs(e) <= u {
			s.inside++
		}
		s.all++
		s.width += u * 1000
	}
	s.rms = append(s.rms, 1000*math.Sqrt(ss/float64(k)))
}

// TestTruth holds the estimator to design/2, 'How good it must be': rms of the
// gap error's error over the gauged area, 95th percentile, and coverage. With
// -seeds 200 the figures are those of the closing note; CI runs three seeds
// and asks only that nothing is far off.
func TestTruth(t *testing.T) {
	for _, c := range []struct {
		name           string
		plan           plan
		linear, curved float64 // um
	}{{"12 gaugings", standard(), 6.5, 9}, {"20 gaugings", twenty(), 7, 7}} {
		covered, all := 0, 0
		for _, tr := range truths() {
			s := play(tr.machine, c.plan, *seeds)
			limit := c.curved
			if tr.linear {
				limit = c.linear
			}
			coverage := float64(s.inside) / float64(max(s.all, 1))
			covered, all = covered+s.inside, all+s.all
			if !*quiet {
				fmt.Printf("%-12s %-30s rms p50 %5.1f p95 %5.1f (limit %3.1f)  coverage %.3f  u95 %5.1f  undetermined %d/%d\n",
					c.name, tr.name, s.p50(), s.p95(), limit, coverage, s.width, s.undetermined, *seeds)
			}
			switch {
			case *seeds < 100:
				limit *= 2 // few seeds: only what is far off
			case tr.mean:
				limit *= 1.6
			default:
				limit *= 1.07 // the 95th of 200 seeds is itself known to 7 %
			}
			if s.p95() > limit {
				t.Errorf("%s, %s: rms p95 %.1f um, limit %.1f", c.name, tr.name, s.p95(), limit)
			}
			if *seeds >= 50 && coverage < 0.89 {
				t.Errorf("%s, %s: coverage %.3f", c.name, tr.name, coverage)
			}
		}
		if coverage := float64(covered) / float64(all); *seeds >= 50 && coverage < 0.93 {
			t.Errorf("%s: coverage %.3f over all", c.name, coverage)
		}
	}
}
