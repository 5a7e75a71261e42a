package analysis_test

import (
	"flag"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"testing"

	"abbed/analysis"
	"abbed/analysis/fit"
	"abbed/analysis/steady"
	"abbed/probe/record"
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
	// terms are those of the true gap error beside level and slope, on x, y in
	// [-1, 1]: what the best possible fit would have.
	terms []func(x, y float64) float64
}

// Terms of true gap errors.
func square(x, y float64) float64  { return x * x }
func cube(x, y float64) float64    { return x * x * x }
func across(x, y float64) float64  { return x * y }
func along(x, y float64) float64   { return y }
func squareY(x, y float64) float64 { return y * y }
func waved(x, y float64) float64   { return math.Sin(4 * x) }

func truths() []truth {
	of := func(name string, linear bool, f func(x, y float64) float64, ts ...func(x, y float64) float64) truth {
		m := good()
		m.gap = shaped(f)
		return truth{name: name, linear: linear, machine: m, terms: ts}
	}
	dish := of("linear on a dish", true, func(x, y float64) float64 { return 0.15 * x })
	dish.bed = shaped(func(x, y float64) float64 { return 0.2 * (x*x + y*y) })
	hidden := of("quadratic, hidden by a trough", false, func(x, y float64) float64 { return 0.15 * x * x }, square)
	hidden.bed = shaped(func(x, y float64) float64 { return -0.15 * x * x })
	both := of("profile and dish", false, func(x, y float64) float64 { return 0.1*x + 0.1*x*x }, square)
	both.bed = shaped(func(x, y float64) float64 { return 0.1*x*x + 0.05*y*y })
	drifting := of("linear, settling drift", true, func(x, y float64) float64 { return 0.15 * x })
	drifting.drift = func(t float64) float64 { return 0.1 * (1 - math.Exp(-t/600)) }
	coarse := of("linear, reports to 0.01", true, func(x, y float64) float64 { return 0.15 * x })
	coarse.step = 0.01
	small := of("small cubic", false, func(x, y float64) float64 { return 0.1*x + 0.02*x*x - 0.025*x*x*x }, square, cube)
	wave := of("wave", false, func(x, y float64) float64 { return 0.1*x + 0.05*math.Sin(4*x) }, waved)
	return []truth{
		of("constant", true, func(x, y float64) float64 { return 0 }),
		of("linear", true, func(x, y float64) float64 { return 0.15 * x }),
		of("small linear", true, func(x, y float64) float64 { return 0.02 * x }),
		of("quadratic", false, func(x, y float64) float64 { return 0.08*x + 0.1*x*x }, square),
		of("cubic", false, func(x, y float64) float64 { return 0.1*x + 0.06*x*x + 0.1*x*x*x }, square, cube),
		small, wave,
		of("linear and ts", false, func(x, y float64) float64 { return 0.1*x + 0.06*x*y }, across),
		of("linear and s", false, func(x, y float64) float64 { return 0.1*x + 0.06*y }, along),
		of("linear and a bow along Y", false, func(x, y float64) float64 { return 0.1*x + 0.06*y*y }, along, squareY),
		dish, hidden, both, drifting, coarse,
	}
}

// score is what many runs of one truth come to.
type score struct {
	rms, best    []float64 // of each run, um: ours, and that of the best possible fit
	inside, all  int       // contrasts covered by their u95
	width, least float64   // mean u95, um: ours, and the best possible
	undetermined int
}

func p95(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	r := slices.Clone(x)
	slices.Sort(r)
	return r[min(len(r)*95/100, len(r)-1)]
}

func (s score) p95() float64 { return p95(s.rms) }

func (s score) p50() float64 {
	if len(s.rms) == 0 {
		return math.NaN()
	}
	r := slices.Clone(s.rms)
	slices.Sort(r)
	return r[len(r)/2]
}

// known is the best that anybody could do who knew the terms of the truth (and
// the scatter): least squares with them and t on the same gaugings.
type known struct {
	tr    truth
	fit   fit.Result
	sigma float64
}

func (tr truth) row(p record.Place) []float64 {
	x, y := (p.U-117.5)/97.5, (p.V-132.5)/82.5
	row := []float64{1, x}
	for _, f := range tr.terms {
		row = append(row, f(x, y))
	}
	return row
}

func (tr truth) known(run record.Run) known {
	var rows [][]float64
	var g []float64
	for _, p := range steady.Pairs(run) {
		rows, g = append(rows, tr.row(p.Place)), append(g, p.G)
	}
	r, err := fit.Least(rows, g, nil)
	if err != nil {
		panic(err)
	}
	return known{tr, r, math.Hypot(tr.gauge, tr.scatter/2)}
}

// at is the contrast and the half width of its 95 % interval, with the residual
// degrees of freedom.
func (k known) at(p, zero record.Place) (g, u95 float64) {
	c := k.tr.row(p)
	for i, z := range k.tr.row(zero) {
		c[i] -= z
	}
	return k.fit.Predict(c), fit.T95(k.fit.DoF) * k.sigma * math.Sqrt(k.fit.Variance(c))
}

// maker makes a run of a machine by a plan.
type maker func(m machine, p plan, seed uint64) record.Run

// asked makes runs of n records where the product asks for them.
func asked(n int) maker {
	return func(m machine, p plan, seed uint64) record.Run { return advised(m, p, p.reach, n, n, seed) }
}

// play judges n runs, on as many cores as there are, and counts them in order.
func play(tr truth, p plan, run maker, n int) score {
	each, next := make([]score, n), make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for seed := range next {
				r := run(tr.machine, p, uint64(seed)+1)
				v := analysis.Judge(r)
				each[seed].add(tr.machine, p, v)
				each[seed].compare(tr, p, r, v)
			}
		})
	}
	for seed := range n {
		next <- seed
	}
	close(next)
	wg.Wait()
	var s score
	for _, e := range each {
		s.rms, s.best = append(s.rms, e.rms...), append(s.best, e.best...)
		s.inside, s.all, s.undetermined = s.inside+e.inside, s.all+e.all, s.undetermined+e.undetermined
		s.width, s.least = s.width+e.width, s.least+e.least
	}
	s.width /= float64(max(s.all, 1))
	s.least /= float64(max(s.all, 1))
	return s
}

// add counts one verdict; width holds the sum of the u95 until the end.
func (s *score) add(m machine, p plan, v analysis.Verdict) {
	if v.Gap == nil {
		s.undetermined++
		return
	}
	ss, k := 0.0, 0.0
	for _, at := range grid(p.reach, 7, 7) {
		g, u, why := v.Gap.At(at)
		if why != nil {
			continue
		}
		e := g - m.trueGap(at, p.zero)
		ss, k = ss+e*e, k+1
		if math.Abs(e) <= u {
			s.inside++
		}
		s.all++
		s.width += u * 1000
	}
	s.rms = append(s.rms, 1000*math.Sqrt(ss/k))
}

// compare counts the best possible fit at the same places.
func (s *score) compare(tr truth, p plan, run record.Run, v analysis.Verdict) {
	if v.Gap == nil {
		return
	}
	best := tr.known(run)
	ss, k := 0.0, 0.0
	for _, at := range grid(p.reach, 7, 7) {
		if _, _, why := v.Gap.At(at); why != nil {
			continue
		}
		b, u := best.at(at, p.zero)
		e := b - tr.trueGap(at, p.zero)
		ss, k = ss+e*e, k+1
		s.least += u * 1000
	}
	s.best = append(s.best, 1000*math.Sqrt(ss/k))
}

// TestTruth holds the estimator to the design's 'How good it must be': rms of the
// gap error's error over the gauged area, 95th percentile, coverage, and half
// widths; with the records where the product asks for them, one by one, and at fixed
// places. Beside each stands the best that anybody could do at these places who
// knew the terms of the truth. With -seeds 200 the figures are those of the
// README; CI runs three seeds and asks only that nothing is far off.
//
// At the fixed places some limits stand at or below what anybody can reach who knows
// the terms and not their sizes. The 95th percentile of 1,000 draws of 10.3 um a record,
// least squares with the true terms, um: at twelve places a wedge 5.2, a bow 9.1, bow
// and S shape 10.1 (limit 9), a bow along Y 8.5; at twenty 3.7, 7.0, 8.1 (limit 7),
// 6.6; at 5 columns x 2 rows x 2, the plan of design/2, 4.4, 7.1, 7.4. A shape that
// the map shows can be known better than that, since its share may be all or nothing;
// one that the map hides, or shows a part of, cannot.
func TestTruth(t *testing.T) {
	for _, c := range []struct {
		name           string
		plan           plan
		run            maker
		linear, curved float64 // um
		fixed          bool
	}{
		{"12 asked for", standard(), asked(12), 6.5, 9, false}, {"20 asked for", standard(), asked(20), 7, 7, false},
		{"12 gaugings", standard(), simulate, 6.5, 9, true}, {"20 gaugings", twenty(), simulate, 7, 7, true},
	} {
		covered, all := 0, 0
		width, least := 0.0, 0.0
		for _, tr := range truths() {
			s := play(tr, c.plan, c.run, *seeds)
			limit := c.curved
			if tr.linear {
				limit = c.linear
			}
			coverage := float64(s.inside) / float64(max(s.all, 1))
			covered, all = covered+s.inside, all+s.all
			if !*quiet {
				fmt.Printf("%-12s %-30s rms p50 %5.1f p95 %5.1f (limit %3.1f, best %4.1f)  coverage %.3f  u95 %5.1f (best %4.1f, %.2f times)  undetermined %d/%d\n",
					c.name, tr.name, s.p50(), s.p95(), limit, p95(s.best), coverage, s.width, s.least, s.width/s.least, s.undetermined, *seeds)
			}
			width, least = width+s.width, least+s.least
			switch {
			case *seeds < 100:
				limit *= 2 // few seeds: only what is far off
			case c.fixed:
				// The 95th of 200 seeds is itself known to 7 %; and where not even
				// those who know the terms stay within the design's figure, a quarter
				// more than theirs.
				limit = math.Max(limit*1.1, 1.25*p95(s.best))
			case *seeds < 200:
				limit *= 1.1 // the 95th of a hundred is itself known to 10 %
			}
			reached := s.p95()
			if !c.fixed {
				reached = math.Round(10*reached) / 10 // the design gives one decimal
			}
			if reached > limit {
				t.Errorf("%s, %s: rms p95 %.1f um, limit %.1f", c.name, tr.name, s.p95(), limit)
			}
			if *seeds >= 50 && coverage < 0.90 {
				t.Errorf("%s, %s: coverage %.3f", c.name, tr.name, coverage)
			}
		}
		if !*quiet {
			fmt.Printf("%-12s coverage %.3f over all, half widths %.2f times the best possible ones\n", c.name, float64(covered)/float64(all), width/least)
		}
		if *seeds >= 50 && width > 1.3*least {
			t.Errorf("%s: half widths %.2f times the best possible ones", c.name, width/least)
		}
		if coverage := float64(covered) / float64(all); *seeds >= 50 && coverage < 0.95 {
			t.Errorf("%s: coverage %.3f over all", c.name, coverage)
		}
	}
}
