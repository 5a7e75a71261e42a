package bench_test

import (
	"math"
	"testing"

	"abbed/gcode/bench"
	"abbed/gcode/bench/mechanics"
)

// The exact rotation and its linear form: design/4, "Angle x lever",
// computed there with R from EAX 2e-3, EBX -1.5e-3, ECX 0.8e-3 rad and the
// offset (-44, -12, -30).
func TestRotationAgainstPublishedValues(t *testing.T) {
	offset := [3]float64{-44, -12, -30}
	got := mechanics.Rotation(2e-3, -1.5e-3, 0.8e-3).Apply(offset)
	want := [3]float64{0.05465144, 0.02486385, -0.08990618}
	for i := range got {
		if d := got[i] - offset[i] - want[i]; math.Abs(d) > 5e-9 {
			t.Errorf("axis %d: %.8f, want %.8f", i, got[i]-offset[i], want[i])
		}
	}
	// 1000 mm x 1 deg: 17.4524 (sin). Wikipedia, Abbe error; design/4.
	if z := mechanics.Rotation(math.Pi/180, 0, 0).Apply([3]float64{0, 1000, 0})[2]; math.Abs(z-17.4524) > 5e-5 {
		t.Errorf("1 m at 1 deg: %.4f", z)
	}
	// 50 mm x 5 arcmin: 0.0727220 mm; laser interferometer handbook, design/4.
	if z := mechanics.Rotation(5./60*math.Pi/180, 0, 0).Apply([3]float64{0, 50, 0})[2]; math.Abs(z-0.0727220) > 5e-8 {
		t.Errorf("50 mm at 5 arcmin: %.7f", z)
	}
	// 40 mm lever, 2 deg: 1.396 mm. Common practice arithmetic, no source.
	if z := mechanics.Rotation(2*math.Pi/180, 0, 0).Apply([3]float64{0, 40, 0})[2]; math.Abs(z-1.396) > 5e-4 {
		t.Errorf("40 mm at 2 deg: %.4f", z)
	}
}

// A bridge that rolls evenly from -0.22 to +0.22 deg over 300 mm under a
// lever of 40 mm: g = +-0.138 mm at 135 mm from the middle; a bed that does so
// the same. Design/2, "Second axis".
func TestRollRateOfTheYAxis(t *testing.T) {
	sc := scenario(t, "bridge-roll-rate")
	for _, layout := range []string{mechanics.MovingGantry, mechanics.MovingBed} {
		sc.Layout, sc.Shape = layout, nil
		g := bench.New(sc, bench.Options{}).Truth().Gap
		right, left := g(285, 150), g(15, 150)
		if math.Abs(math.Abs(right)-0.138) > 5e-4 || math.Abs(right+left) > 1e-5 {
			t.Errorf("%s: %.4f and %.4f, want +-0.138", layout, right, left)
		}
	}
}

// at evaluates an error motion that may be missing.
func at(f mechanics.Func, x float64) float64 {
	if f == nil {
		return 0
	}
	return f(x)
}

// linear is the gap error by the formulas of design/2, "What the lever does",
// written down a second time.
func linear(m mechanics.Machine, u, v float64) float64 {
	raw := func(u, v float64) float64 {
		px, py := m.Lever[0], m.Lever[1]
		xc, yc := (m.Bed.X0+m.Bed.X1)/2, (m.Bed.Y0+m.Bed.Y1)/2
		roll := at(m.Roll, u-px)
		if m.Layout == mechanics.MovingGantry {
			roll += at(m.YPitch, v-py)
		}
		g := at(m.Straight, u) - at(m.Straight, u-px) - (py*roll - px*at(m.Pitch, u-px))
		sz := at(m.YStraight, v-py) - at(m.YStraight, v)
		sb := at(m.YRoll, v-py) - at(m.YRoll, v)
		if m.Layout == mechanics.MovingGantry {
			return g - sz + (u-xc)*sb
		}
		return g + sz + (v-yc)*(at(m.YPitch, v-py)-at(m.YPitch, v)) - (u-xc)*sb
	}
	return raw(u, v) - raw(m.Zero[0], m.Zero[1])
}

// scaledAngles shrinks all angles and offsets of the error motions.
func scaledAngles(m mechanics.Machine, k float64) mechanics.Machine {
	for _, f := range []*mechanics.Func{&m.Roll, &m.Pitch, &m.Straight, &m.YStraight, &m.YPitch, &m.YRoll} {
		if g := *f; g != nil {
			*f = func(x float64) float64 { return k * g(x) }
		}
	}
	return m
}

// worst is the largest difference between the exact machine and the formulas.
func worst(sc bench.Scenario, k float64) float64 {
	sc.Machine = scaledAngles(sc.Machine, k)
	truth := bench.New(sc, bench.Options{}).Truth()
	d := 0.0
	for j := range 9 {
		for i := range 9 {
			u := truth.Area.X0 + (truth.Area.X1-truth.Area.X0)*float64(i)/8
			v := truth.Area.Y0 + (truth.Area.Y1-truth.Area.Y0)*float64(j)/8
			d = math.Max(d, math.Abs(truth.Gap(u, v)-linear(sc.Machine, u, v)))
		}
	}
	return d
}

// The exact machine agrees with the linear formulas to second order: within
// micrometres, and a flat one at half the angles to a quarter of that.
func TestExactMachineAgainstLinearFormulas(t *testing.T) {
	everything := scenario(t, "healthy-300")
	everything.Name = "everything"
	a := func(k float64) mechanics.Func { return func(x float64) float64 { return k * (x - 140) / 300 } }
	everything.Roll, everything.Pitch, everything.YPitch, everything.YRoll = a(0.008), a(-0.006), a(0.004), a(0.005)
	everything.Straight = func(x float64) float64 { return 0.1 * math.Sin(x/60) }
	everything.YStraight = func(y float64) float64 { return 0.1 * math.Cos(y/70) }
	gantry := everything
	gantry.Name, gantry.Layout = "everything on a gantry", mechanics.MovingGantry
	for _, sc := range append(bench.Scenarios(), everything, gantry) {
		t.Run(sc.Name, func(t *testing.T) {
			if d := worst(sc, 1); d > 0.004 {
				t.Errorf("off by %.5f mm", d)
			}
			sc.Shape, sc.Trammed, sc.Tilt = nil, false, [2]float64{}
			full, half := worst(sc, 1), worst(sc, 0.5)
			if full > 1e-6 && half > full/3 {
				t.Errorf("off by %.3g at full and %.3g at half angles: not of second order", full, half)
			}
		})
	}
}

// What each scenario says of its size, by hand from its own numbers.
func TestScenarioTruth(t *testing.T) {
	rad := math.Pi / 180
	for _, c := range []struct {
		name string
		u, v float64
		want float64
		tol  float64
	}{
		{"healthy", 190, 200, 12 * 0.04 * rad * 72.5 / 235, 1e-4},
		{"true-shape", 40, 200, 0, 1e-3},
		{"true-shape-trough", 20, 100, 0, 1e-3},
		{"curved-rail", 220, 100, 0, 5e-3},
		{"beam-twist", 225, 117.5, -45 * 0.5 * rad * 107.5 / 235, 1e-3},
		{"twist-trammed", 225, 117.5, -45 * 0.5 * rad * 107.5 / 235, 2e-3},
		{"twist-gantry", 225, 117.5, 40 * 0.5 * rad * 107.5 / 235, 1e-3},
		{"twist-hidden", 225, 117.5, -45 * 0.27 * rad * 107.5 * 107.5 / 117.5 / 117.5, 2e-3},
		{"repair", 225, 117.5, -45 * 2 * rad * 107.5 / 235, 2e-3},
		{"head-pitch", 190, 117.5, -44 * 0.4 * rad * 72.5 / 235, 2e-3},
		{"bed-pitch", 117.5, 225, -45 * 0.5 * rad * 107.5 / 235, 2e-3},
		{"no-lever", 20, 20, 0, 1e-9},
	} {
		if got := bench.New(scenario(t, c.name), bench.Options{}).Truth().Gap(c.u, c.v); math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: gap %.4f, want %.4f", c.name, got, c.want)
		}
	}
}

// A bed trammed by the probe has a flat map; one whose trough hides the beam
// too.
func TestFlatMaps(t *testing.T) {
	for _, name := range []string{"twist-trammed", "twist-hidden"} {
		truth := bench.New(scenario(t, name), bench.Options{}).Truth()
		for j := range truth.Rows {
			for i := range truth.Cols {
				if z := truth.Map(truth.Node(i, j)); math.Abs(z) > 0.012 {
					t.Errorf("%s: map value %.4f at node %d %d", name, z, i, j)
				}
			}
		}
	}
}

// Every scenario's expectation holds by physics: what is to be compensated
// is large against the scatter and within the limits of design/1 and issue 2,
// what is healthy is within the tolerance, and no name comes twice.
func TestExpectationsHold(t *testing.T) {
	seen := map[string]bool{}
	for _, sc := range bench.Scenarios() {
		t.Run(sc.Name, func(t *testing.T) {
			if seen[sc.Name] || sc.Says == "" || sc.Finding == "" {
				t.Error("name twice, or nothing said")
			}
			seen[sc.Name] = true
			truth := bench.New(sc, bench.Options{}).Truth()
			largest, slope := extent(truth)
			switch {
			case sc.Table && (largest < 0.06 || largest > 0.45 || slope > 0.25):
				t.Errorf("table expected with g to %.3f mm, %.3f mm per 100 mm", largest, slope)
			case sc.Finding == "repair" && largest < 0.5 && slope < 0.33:
				t.Errorf("repair expected with g to %.3f mm, %.3f mm per 100 mm", largest, slope)
			case (sc.Finding == "healthy" || sc.Finding == "true-shape") && largest > 0.01:
				t.Errorf("%s expected with g to %.3f mm", sc.Finding, largest)
			}
			t.Logf("%-22s g to %.3f mm, %.3f mm per 100 mm", sc.Finding, largest, slope)
		})
	}
}

// extent is the largest gap error at the nodes and the steepest slope between
// neighbours, mm per 100 mm.
func extent(tr bench.Truth) (largest, slope float64) {
	g := func(i, j int) float64 { return tr.Gap(tr.Node(i, j)) }
	du := (tr.Area.X1 - tr.Area.X0) / float64(tr.Cols-1)
	dv := (tr.Area.Y1 - tr.Area.Y0) / float64(tr.Rows-1)
	for j := range tr.Rows {
		for i := range tr.Cols {
			largest = math.Max(largest, math.Abs(g(i, j)))
			if i > 0 {
				slope = math.Max(slope, 100*math.Abs(g(i, j)-g(i-1, j))/du)
			}
			if j > 0 {
				slope = math.Max(slope, 100*math.Abs(g(i, j)-g(i, j-1))/dv)
			}
		}
	}
	return largest, slope
}

// The plate's stations keep their heights, its flatness is 4.53165 um, and its
// middle lies where its two diagonals cross. Moody's surface plate, design/4.
func TestMoodyPlate(t *testing.T) {
	bed := mechanics.Rect{X0: 0, Y0: 0, X1: 160, Y1: 200}
	shape := mechanics.Moody(bed, 4.53165)
	for _, c := range []struct{ u, v, um float64 }{
		{0, 200, 1.576}, {160, 200, 0.739}, {160, 0, 1.576}, {0, 0, 0.739}, // corners
		{80, 100, 3.349}, {80, 200, 3.891}, {80, 0, 4.532}, {160, 140, 0.148}, {40, 200, 2.955},
	} {
		if z := shape(c.u, c.v); math.Abs(z-c.um) > 0.03 {
			t.Errorf("(%g, %g): %.3f um, want %.3f", c.u, c.v, z, c.um)
		}
	}
	low, high := math.Inf(1), math.Inf(-1)
	for v := 0.0; v <= 200; v += 2 {
		for u := 0.0; u <= 160; u += 2 {
			low, high = math.Min(low, shape(u, v)), math.Max(high, shape(u, v))
		}
	}
	if flat := high - low; math.Abs(flat-4.53165) > 0.05 {
		t.Errorf("flatness %.4f um, want 4.532", flat)
	}
}
