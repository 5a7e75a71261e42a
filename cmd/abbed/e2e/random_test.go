package e2e_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/gcode/bench"
	"abbed/gcode/bench/mechanics"
)

var randomMachines = flag.Int("random.n", often(3, 1), "how many machines drawn at random do the whole job")

// anyPrinter draws a printer with error motions on both axes: beds of 180 to 350 mm,
// levers of 18 to 55 mm in any direction, a probe of 1.5 to 12 um, drift, strays. What
// is found first nobody knows beforehand.
func anyPrinter(seed uint64) bench.Scenario {
	r := rand.New(rand.NewPCG(seed, 0x5eed))
	within := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	all := bench.Scenarios()
	sc := all[slices.IndexFunc(all, func(s bench.Scenario) bool { return s.Name == "beam-twist" })]
	size := math.Round(within(180, 350))
	long, turn := within(18, 55), within(0, 2*math.Pi)
	sc.Name, sc.Says, sc.Finding, sc.Also, sc.Table = fmt.Sprintf("any-%d", seed), "drawn at random", "", nil, false
	sc.Bed = mechanics.Rect{X1: size, Y1: size}
	sc.Travel = mechanics.Box{Min: [3]float64{-5, -5, 0}, Max: [3]float64{size + 10, size + 5, 250}}
	sc.Lever = [2]float64{math.Round(long * math.Cos(turn)), math.Round(long * math.Sin(turn))}
	sc.Zero = [2]float64{size / 2, size / 2}
	const margin = 12
	sc.Area = mechanics.Rect{
		X0: max(0, sc.Travel.Min[0]+sc.Lever[0]) + margin, X1: min(size, sc.Travel.Max[0]+sc.Lever[0]) - margin,
		Y0: max(0, sc.Travel.Min[1]+sc.Lever[1]) + margin, Y1: min(size, sc.Travel.Max[1]+sc.Lever[1]) - margin,
	}
	if r.Float64() < 0.5 {
		sc.Layout = mechanics.MovingGantry
	}
	motion := func(share, size0 float64, form ...float64) mechanics.Func {
		a := make([]float64, len(form))
		for i, f := range form {
			a[i] = size0 * f * r.NormFloat64()
		}
		if r.Float64() > share {
			return nil
		}
		return func(x float64) float64 {
			t, sum := 2*x/size-1, 0.0
			for i := len(a) - 1; i >= 0; i-- {
				sum = sum*t + a[i]
			}
			return sum
		}
	}
	const deg = math.Pi / 180
	sc.Roll = motion(0.85, 0.2*deg, 0, 1, 0.6, 0.4)
	sc.Pitch = motion(0.4, 0.1*deg, 0, 1, 0.5, 0.3)
	sc.Straight = motion(0.4, 0.04, 0, 0, 1, 0.6)
	sc.YStraight = motion(0.3, 0.03, 0, 0, 1, 0.6)
	sc.YPitch = motion(0.3, 0.06*deg, 0, 1, 0.5, 0.4)
	sc.YRoll = motion(0.3, 0.06*deg, 0, 1, 0.5, 0.4)
	sc.Shape = mechanics.Moody(sc.Bed, within(0.005, 0.2))
	sc.Scatter = within(0.0015, 0.012)
	sc.DriftSettle, sc.DriftTime = within(-0.06, 0.06), 900
	if r.Float64() < 0.3 {
		sc.Outlier, sc.OutlierSize = 0.005, 0.25
	}
	return sc
}

// TestAnyPrinter has the played person do the whole job on printers drawn at random,
// through the wire: how many of the nodes are covered by their doubt, and what is left
// after the correction. Nothing unsafe may happen on any.
func TestAnyPrinter(t *testing.T) {
	t.Parallel()
	covered, nodes, low := 0, 0, 0
	var left []float64
	for seed := range uint64(*randomMachines) {
		t.Run(fmt.Sprint(seed+1), func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				sc := anyPrinter(seed + 1)
				printer := bench.New(sc, bench.Options{Seed: seed + 1})
				w := open(t, dir, sc, &cable{printer: printer})
				defer w.close()
				p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(seed, 0x9a06e)), Name: "the played person", Answer: demo.GaugesMore(6)}
				d := demo.Demo{Scenario: sc, Errs: t.Output()}
				o, err := d.ToTheEnd(t.Context(), p, printer)
				if err != nil {
					t.Fatalf("%+v: %v", sc.Machine.Lever, err)
				}
				first := o.Analysis.Findings[0].ID
				if o.Table.Digest == nil {
					t.Logf("bed %.0f, lever %v: %s, no table: %s", sc.Bed.X1, sc.Lever, first, o.Table.Refused.Text)
					return
				}
				truth, in := printer.Truth(), 0
				for _, n := range o.Table.Nodes {
					if math.Abs(n.Add+truth.Gap(n.U, n.V)) <= n.U95+0.0005 { // written to the micrometre
						in++
					}
				}
				rms, _ := demo.Remaining(o.Table, truth)
				left = append(left, 1000*rms)
				covered, nodes = covered+in, nodes+len(o.Table.Nodes)
				if float64(in) < 0.9*float64(len(o.Table.Nodes)) {
					low++
				}
				t.Logf("bed %.0f, lever %v: %s, %.1f um left, %d of %d nodes covered", sc.Bed.X1, sc.Lever, first, 1000*rms, in, len(o.Table.Nodes))
			})
		})
	}
	if len(left) == 0 {
		if *randomMachines >= 10 {
			t.Fatal("no table at all")
		}
		return
	}
	slices.Sort(left)
	coverage := float64(covered) / float64(nodes)
	t.Logf("%d tables of %d machines: coverage %.3f, below 0.90 on %d; left p50 %.1f p95 %.1f worst %.1f um",
		len(left), *randomMachines, coverage, low, left[len(left)/2], left[min(len(left)*95/100, len(left)-1)], left[len(left)-1])
	if coverage < 0.80 || len(left) >= 30 && coverage < 0.93 {
		t.Errorf("coverage %.3f", coverage)
	}
}
