package workshop_test

import (
	"math"
	"testing"

	"abbed/analysis/workshop"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.7f, want %.7f", what, got, want)
	}
}

// TestCost: angle x lever. 50 mm x 5 arcmin 0.0727220 and 10 mm 0.0145444 (laser
// interferometer handbook, appendix on Abbe offset, exact values); 1000 mm x
// 1 deg 17.4524 (Wikipedia, Abbe error); 40 mm x 2 deg 1.396 (common practice).
func TestCost(t *testing.T) {
	for _, c := range []struct{ lever, deg, want, tolerance float64 }{
		{50, 5.0 / 60, 0.0727220, 1e-7}, {10, 5.0 / 60, 0.0145444, 1e-7},
		{1000, 1, 17.4524, 1e-4}, {40, 2, 1.396, 1e-3},
	} {
		near(t, "cost", workshop.Cost(c.lever, workshop.Rad(workshop.Value{Value: c.deg})).Value, c.want, c.tolerance)
	}
}

// TestAllowed: ANSI H35.2: a 20 x 20 may twist 0.75 deg over 250 mm, 0.5236 mm at a
// 40 mm lever; a 20 x 40 0.375 deg, 0.2618 mm; the most is 7, 5, 3 deg.
func TestAllowed(t *testing.T) {
	near(t, "20 x 20", workshop.Allowed(20, 20, 250), 0.75, 1e-12)
	near(t, "20 x 40", workshop.Allowed(20, 40, 250), 0.375, 1e-12)
	near(t, "80 x 80", workshop.Allowed(80, 0, 500), 0.5, 1e-12)
	near(t, "long", workshop.Allowed(20, 20, 6000), 7, 1e-12)
	near(t, "cost 20 x 20", workshop.Cost(40, workshop.Rad(workshop.Value{Value: 0.75})).Value, 0.5236, 5e-5)
	near(t, "cost 20 x 40", workshop.Cost(40, workshop.Rad(workshop.Value{Value: 0.375})).Value, 0.2618, 5e-5)
}

// TestCheck by hand: a gap of 0.3490 mm under 20 mm is 1 deg (sin 1 deg = 0.0174524,
// any table of sines), 4 deg/m over 250 mm, against 0.75 allowed.
func TestCheck(t *testing.T) {
	p := workshop.Profile{Gap: workshop.Value{Value: 0.349048, U: 0.010}, Width: workshop.Value{Value: 20}, Length: workshop.Value{Value: 250}}
	got, err := workshop.Check(p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "twist", got.Deg.Value, 1, 1e-6)
	near(t, "rate", got.PerMetre.Value, 4, 1e-5)
	near(t, "u", got.Deg.U, 0.010/20*180/math.Pi, 1e-5)
	if got.Verdict != workshop.Beyond {
		t.Error(got.Verdict)
	}
	for gap, want := range map[float64]workshop.Verdict{0.10: workshop.Within, 0.25: workshop.CannotTell} {
		p.Gap.Value = gap
		if got, err := workshop.Check(p); err != nil || got.Verdict != want {
			t.Errorf("gap %g: %v, %v", gap, got.Verdict, err)
		}
	}
	// A rough reference takes the answer away.
	p.Gap, p.Grade = workshop.Value{Value: 0.245, U: 0.005}, workshop.Perfect
	if got, err := workshop.Check(p); err != nil || got.Verdict != workshop.Within {
		t.Errorf("on a perfect reference: %v, %v", got.Verdict, err)
	}
	p.Grade = workshop.Grade3
	if got, err := workshop.Check(p); err != nil || got.Verdict != workshop.CannotTell {
		t.Errorf("on grade 3: %v, %v", got.Verdict, err)
	}
	for _, bad := range []workshop.Profile{{}, {Gap: workshop.Value{Value: 30}, Width: workshop.Value{Value: 20}, Length: workshop.Value{Value: 1}},
		{Gap: workshop.Value{Value: math.NaN()}, Width: workshop.Value{Value: 20}, Length: workshop.Value{Value: 1}}} {
		if _, err := workshop.Check(bad); err == nil {
			t.Errorf("%+v was taken", bad)
		}
	}
}

// TestDesk by hand: lever 40 mm to the back, gap error falling by 0.139626 mm over 200 mm:
// the roll is 0.139626 / 40 = 0.0034907 rad over them, 0.2 deg; the back is too high at
// the right. Over 300 mm of mounting 0.3 deg; fasteners 20 mm apart: 20 x 0.005236 =
// 0.1047 mm under the front. A 20 mm profile bears on 17 mm: it rocks by 0.0890 mm.
func TestDesk(t *testing.T) {
	twist := workshop.Value{Value: 0.139626 / 200 / 40, U: 0.004 / 200 / 40}
	r := workshop.RollOf(twist, 200, 0)
	near(t, "roll", r.Value*200*180/math.Pi, 0.2, 1e-4)
	lift := r.Lift(300, 20)
	near(t, "lift", lift.Value, 0.10472, 1e-5)
	near(t, "its doubt", lift.U, 0.004/40*1.5*20, 1e-6)
	if r.High() != workshop.Back || r.High().Other() != workshop.Front {
		t.Errorf("high %s", r.High())
	}
	near(t, "rocking", r.Rocking(20, 300).Value, 0.08901, 1e-5)
	in, out := workshop.Blades(workshop.Value{Value: 0.1047, U: 0.006})
	near(t, "goes in", in, 0.05, 1e-9)
	near(t, "does not", out, 0.15, 1e-9)
	if unsure := workshop.RollOf(workshop.Value{Value: 0.005, U: 0.004}, 200, 0); unsure.High() != workshop.Neither {
		t.Error("a roll within its doubt names a side")
	}
	// A lever 8 mm beside the line along Y: 8 mm x 8 mrad / 40 mm = 1.6 mrad of roll over
	// the beam may be pitch, 95 %.
	near(t, "pitch in it", 2*workshop.RollOf(workshop.Value{Value: twist.Value}, 200, 8.0/40).U*200, 0.0016, 1e-9)
}

// TestTram by hand: the bed rises 0.35 mm over 200 mm to the right: the one between stays,
// and the others meet it by half of that, a quarter of a turn of M4 (0.7 mm, ISO 261
// coarse), two eighths. What is less than its doubt is left. Four are turned crosswise.
func TestTram(t *testing.T) {
	three := []workshop.Support{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 100, Y: 200}}
	a, err := workshop.Tram(workshop.Plane{A: workshop.Value{Value: 0.35 / 200}}, three, 0.7)
	if err != nil {
		t.Fatal(err)
	}
	if !a[0].Stays || a[0].Support != three[2] || a[0].Eighths != 0 {
		t.Errorf("%+v", a[0])
	}
	for _, x := range a[1:] {
		near(t, "up", x.Up.Value, 0.175-0.35*x.X/200, 1e-12)
		near(t, "turns", x.Turns.Value, x.Up.Value/0.7, 1e-12)
		if want := map[float64]int{0: 2, 200: -2}[x.X]; x.Eighths != want {
			t.Errorf("%+v", x)
		}
	}
	unsure, _ := workshop.Tram(workshop.Plane{A: workshop.Value{Value: 0.35 / 200, U: 0.001}}, three, 0.7)
	if unsure[1].Eighths != 0 || unsure[2].Eighths != 0 {
		t.Errorf("%+v", unsure)
	}
	s := []workshop.Support{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 200}, {X: 0, Y: 200}}
	four, err := workshop.Tram(workshop.Plane{A: workshop.Value{Value: 0.001, U: 0.0001}, B: workshop.Value{Value: 0.002}}, s, 0.5)
	if err != nil || math.Abs(four[0].X-four[1].X) != 200 || math.Abs(four[0].Y-four[1].Y) != 200 {
		t.Fatalf("%+v, %v", four, err)
	}
	for _, x := range four {
		near(t, "up", x.Up.Value, -(0.001*(x.X-four[0].X) + 0.002*(x.Y-four[0].Y)), 1e-12)
	}
	near(t, "u of the turns", four[1].Turns.U, 0.0001*200/0.5, 1e-12)
	for name, bad := range map[string][]workshop.Support{"none": nil, "a line": {{X: 0}, {X: 100}, {X: 200}}, "one place": {{}, {}, {}}} {
		if _, err := workshop.Tram(workshop.Plane{}, bad, 0.7); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

// TestCheckUncertainty by hand, law of propagation (JCGM 100:2008 5.1.2) on
// a = asin(g/w): u(a)^2 = (u(g)/w)^2 + (g u(w)/w^2)^2, over cos a. g = 0.225 (0.0144),
// w = 20 (0.1), DIN 876 grade I over 300 mm: a band of 0.013 mm, u = 0.013/sqrt 12 =
// 0.003753 at each of four corners, 0.007506 of the gap; u(g) in all = 0.016239; u(a) =
// sqrt(0.00081193^2 + 0.00005625^2) = 0.00081388 rad = 0.046632 deg. The sine by a handbook's table: sin 0.6446 deg = 0.01125.
func TestCheckUncertainty(t *testing.T) {
	c, err := workshop.Check(workshop.Profile{Gap: workshop.Value{Value: 0.225, U: 0.0144}, Width: workshop.Value{Value: 20, U: 0.1},
		Length: workshop.Value{Value: 300, U: 1}, Grade: workshop.Grade1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "twist", c.Deg.Value, 0.64459, 1e-5)
	near(t, "u", c.Deg.U, 0.046635, 1e-5)
	near(t, "rate", c.PerMetre.Value, 0.64459/0.3, 1e-4)
	near(t, "u of the rate", c.PerMetre.U, math.Hypot(0.046635, 0.64459/300)/0.3, 1e-4)
}
