package e2e_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/gcode/bench/mechanics"
)

// drawn is how many machines TestTenMinutes draws.
var drawn = flag.Int("drawn", often(3, 1), "how many machines TestTenMinutes draws at random, and where their seeds begin is -drawn.from")
var drawnFrom = flag.Uint64("drawn.from", 1, "the first seed of TestTenMinutes")
var drawnPlan = flag.String("drawn.plan", config.PlanNormal, "the plan of the gauging")

// series is a motion over lo..hi: Legendre polynomials of degree 1 to 4 with random
// coefficients that fall, of size for the first; a third of them are none at all.
func series(r *rand.Rand, lo, hi, size float64) mechanics.Func {
	c := [5]float64{}
	if r.Float64() > 1.0/3 {
		fall := 0.25 + 0.4*r.Float64()
		for k := 1; k < 5; k++ {
			c[k] = size * math.Pow(fall, float64(k-1)) * r.NormFloat64()
		}
	}
	return func(x float64) float64 {
		t := (2*x - lo - hi) / (hi - lo)
		return c[1]*t + c[2]*(3*t*t-1)/2 + c[3]*(5*t*t*t-3*t)/2 + c[4]*(35*t*t*t*t-30*t*t+3)/8
	}
}

// drawPrinter draws a printer: all six motions, drift, strays, beds of 180 to 350 mm,
// levers of 18 to 55 mm in any direction, a scatter of 1.5 to 15 um.
func drawPrinter(t *testing.T, seed uint64) bench.Scenario {
	r := rand.New(rand.NewPCG(seed, 0x7e17))
	sc := lookup(t, "healthy")
	sc.Name = fmt.Sprintf("drawn-%d", seed)
	size := math.Round(180 + 170*r.Float64())
	if r.Float64() < 0.5 {
		size = math.Round(180 + 55*r.Float64())
	}
	lever, at := 18+37*r.Float64(), 2*math.Pi*r.Float64()
	m := &sc.Machine
	m.Bed = mechanics.Rect{X1: size, Y1: size}
	m.Travel = mechanics.Box{Min: [3]float64{-5, -5, 0}, Max: [3]float64{size + 10, size + 5, 250}}
	m.Lever = [2]float64{math.Round(lever * math.Cos(at)), math.Round(lever * math.Sin(at))}
	m.Zero = [2]float64{size / 2, size / 2}
	m.Level = 0.05 * r.NormFloat64()
	m.Shape = mechanics.Moody(m.Bed, 0.02+0.1*r.Float64())
	m.Tilt = [2]float64{1e-3 * r.NormFloat64(), 1e-3 * r.NormFloat64()}
	if r.Float64() < 0.25 {
		m.Layout = mechanics.MovingGantry
	}
	rad := math.Pi / 180
	m.Roll, m.Pitch = series(r, 0, size, 0.12*rad), series(r, 0, size, 0.06*rad)
	m.Straight, m.YStraight = series(r, 0, size, 0.03), series(r, 0, size, 0.03)
	m.YPitch, m.YRoll = series(r, 0, size, 0.06*rad), series(r, 0, size, 0.03*rad)
	sc.Scatter = 0.0015 * math.Pow(10, r.Float64())
	if r.Float64() < 0.3 {
		sc.DriftSettle, sc.DriftTime = 0.03*r.Float64(), 600
	}
	if r.Float64() < 0.3 {
		sc.Outlier, sc.OutlierSize = 0.01, 0.1+0.2*r.Float64()
	}
	const margin = 12
	m.Cols, m.Rows = 5, 5
	m.Area = mechanics.Rect{
		X0: max(0, m.Travel.Min[0]+m.Lever[0]) + margin, X1: min(size, m.Travel.Max[0]+m.Lever[0]) - margin,
		Y0: max(0, m.Travel.Min[1]+m.Lever[1]) + margin, Y1: min(size, m.Travel.Max[1]+m.Lever[1]) - margin,
	}
	return sc
}

// spent is what one job took of a person, and what it brought.
type spent struct {
	seed              uint64
	size              float64
	finding           string
	minutes           float64 // machine time until the person may go, 4 s an answer, 4 s a next
	answers, readings int
	left              float64 // rms after apply, um; NaN without a correction
	inside, places    int
	refused           string
}

// TestTenMinutes has machines that are drawn at random measured and corrected through
// the wire, by a hand that says loose, drags or tight and knows nothing else. The
// printer is its own witness: no contact but by a step of the person's own answers, and
// none of those deep.
//
//	go test ./cmd/abbed/e2e -run TestTenMinutes -v -drawn 100 -drawn.from 1001 -timeout 1h
func TestTenMinutes(t *testing.T) {
	t.Parallel()
	var all []spent
	for k := range *drawn {
		seed := *drawnFrom + uint64(k)
		sc := drawPrinter(t, seed)
		t.Run(sc.Name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) { all = append(all, tenMinutes(t, dir, sc, seed)) })
		})
	}
	slices.SortFunc(all, func(a, b spent) int { return int(a.seed) - int(b.seed) })
	for _, s := range all {
		t.Logf("%-4d %3.0f mm  %-20s %4.1f min, %3d answers, %2d readings, left %5.1f um, %2d of %2d inside %s", s.seed, s.size, s.finding, s.minutes, s.answers, s.readings, s.left, s.inside, s.places, s.refused)
	}
	tellSpent(t, "all", all)
	small := slices.DeleteFunc(slices.Clone(all), func(s spent) bool { return s.size > 235 })
	tellSpent(t, "up to 235 mm", small)
	inside, places := 0, 0
	for _, s := range all {
		inside, places = inside+s.inside, places+s.places
	}
	if places > 500 && float64(inside) < 0.93*float64(places) {
		t.Errorf("%d of %d places inside their interval", inside, places)
	}
}

func tellSpent(t *testing.T, name string, all []spent) {
	if len(all) == 0 {
		return
	}
	var minutes, answers, readings, left []float64
	inside, places := 0, 0
	for _, s := range all {
		minutes, answers, readings = append(minutes, s.minutes), append(answers, float64(s.answers)), append(readings, float64(s.readings))
		if !math.IsNaN(s.left) {
			left = append(left, s.left)
		}
		inside, places = inside+s.inside, places+s.places
	}
	at := func(x []float64, p float64) float64 {
		if len(x) == 0 {
			return math.NaN()
		}
		slices.Sort(x)
		return x[min(len(x)-1, int(p*float64(len(x))))]
	}
	t.Logf("%s: %d machines; minutes %.1f median, %.1f p90; answers %.0f, %.0f; readings %.0f, %.0f; left after apply %.1f um median, %.1f p95 of %d; %.3f inside",
		name, len(all), at(minutes, 0.5), at(minutes, 0.9), at(answers, 0.5), at(answers, 0.9), at(readings, 0.5), at(readings, 0.9),
		at(left, 0.5), at(left, 0.95), len(left), float64(inside)/float64(max(1, places)))
}

func tenMinutes(t *testing.T, dir string, sc bench.Scenario, seed uint64) spent {
	s := onStage(t, dir, sc, seed, func(c *config.Settings) { c.Gauging.Plan = *drawnPlan })
	defer s.close()
	s.hand.Rnd = rand.New(rand.NewPCG(seed, 0x9a06e))
	began, gone, nexts := time.Now(), time.Time{}, 0
	was := api.Running
	s.hand.Seen = func(r api.Run) {
		if r.State == api.AwaitingNext && was != api.AwaitingNext {
			nexts++
		}
		if was = r.State; gone.IsZero() && r.Unwatched {
			gone = time.Now()
		}
	}
	o := &ask.Outcome{}
	run, err := s.hand.Measure(t.Context(), "repeat", "gauging", "survey")
	if o.Run = run; err != nil || run.State != api.Done {
		t.Errorf("the job %s: %+v, %v", run.State, run.Error, err)
		return spent{seed: seed, left: math.NaN()}
	}
	if gone.IsZero() {
		gone = time.Now()
	}
	if err := o.Read(t.Context(), s.api); err != nil {
		t.Error(err)
		return spent{seed: seed, left: math.NaN()}
	}
	out := spent{seed: seed, size: sc.Bed.X1, finding: o.Analysis.Findings[0].ID, answers: s.hand.Presses, readings: run.Gaugings, left: math.NaN(),
		minutes: gone.Sub(began).Minutes() + float64(4*s.hand.Presses+4*nexts)/60}
	out.inside, out.places = s.covered(t, run.ID)
	if o.Table.Refused != nil {
		out.refused = o.Table.Refused.Code
	}
	if o.Table.Digest != nil {
		rms, _ := demo.Remaining(o.Table, s.printer.Truth())
		out.left = 1000 * rms
	}
	s.sound(t)
	return out
}

// covered counts places over the gauged area whose true gap error is in its interval.
func (s *stage) covered(t *testing.T, id string) (inside, places int) {
	var at [][2]float64
	for i := range 9 {
		for j := range 9 {
			at = append(at, [2]float64{s.sc.Bed.X1 * (0.05 + 0.9*float64(i)/8), s.sc.Bed.Y1 * (0.05 + 0.9*float64(j)/8)})
		}
	}
	gaps, err := s.api.Gap(t.Context(), id, at)
	if err != nil {
		t.Error(err)
		return 0, 0
	}
	truth := s.printer.Truth()
	for i, g := range gaps {
		if g.Gap == nil {
			continue
		}
		if places++; math.Abs(*g.Gap-truth.Gap(at[i][0], at[i][1])) <= *g.U95 {
			inside++
		}
	}
	return inside, places
}
