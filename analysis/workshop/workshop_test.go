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

// TestDesk by hand: lever 40 mm to the back, gap error falling by 0.1396 mm over
// 200 mm: sin a = 0.00349, a = 0.2 deg; the back is too high at the right. Over
// 300 mm of mounting 0.3 deg; fasteners 20 mm apart: 20 x 0.005236 = 0.1047 mm under
// the front; so does the profile rock.
func TestDesk(t *testing.T) {
	r, err := workshop.FromGap(20, 220, workshop.Value{Value: -0.139626, U: 0.004}, 40)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "roll", r.Roll.Value*180/math.Pi, 0.2, 1e-5)
	s := r.Shim(300, 20)
	near(t, "shim", s.Thick.Value, 0.10472, 1e-5)
	near(t, "its doubt", s.Thick.U, 0.004/40*1.5*20, 1e-6)
	if s.Under != workshop.Front || r.High() != workshop.Back {
		t.Errorf("under %s, high %s", s.Under, r.High())
	}
	near(t, "rocking", r.Rocking(20, 300).Value, 0.10472, 1e-5)
	in, out := workshop.Blades(r.Rocking(20, 300))
	near(t, "goes in", in, 0.05, 1e-9)
	near(t, "does not", out, 0.15, 1e-9)
	near(t, "with half the lever", r.Lever(20).Value, -0.069813, 1e-6)
	unsure, _ := workshop.FromGap(20, 220, workshop.Value{Value: -0.005, U: 0.004}, 40)
	if unsure.High() != workshop.Neither || unsure.Shim(300, 20).Under != workshop.Neither {
		t.Error("a roll within its doubt names a side")
	}
	if _, err := workshop.FromGap(0, 1, workshop.Value{Value: 1}, 0); err == nil {
		t.Error("no lever was taken")
	}
}

// TestTram by hand: the bed rises 0.35 mm over 200 mm to the right: the one
// between stays, and the others meet it by half of that, a quarter of a turn of M4 (0.7
// mm, ISO 261 coarse).
func TestTram(t *testing.T) {
	a, err := workshop.Tram(workshop.Plane{A: workshop.Value{Value: 0.35 / 200}, B: workshop.Value{}}, []workshop.Support{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 100, Y: 200}}, 0.7)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "left", a[0].Up.Value, 0.175, 1e-12)
	near(t, "right", a[1].Up.Value, -0.175, 1e-12)
	near(t, "turns", a[1].Turns.Value, -0.25, 1e-12)
	if !a[2].Stays || a[0].Stays || a[1].Stays {
		t.Errorf("%+v", a)
	}
	if _, err := workshop.Tram(workshop.Plane{A: workshop.Value{}, B: workshop.Value{}}, nil, 0.7); err == nil {
		t.Error("no supports were taken")
	}
}

// TestLevel: JCGM 100:2008 G.3.2: the doubt of a slope from few contacts is widened
// by Student's t. By hand: five contacts at the corners and the middle of a square of
// side 2, four of them off by +-1 so that no plane takes it up (a saddle): S^2 = 4/2,
// u(a) = S/sqrt(sum x^2) = sqrt(2)/2, t(2) = 4.3027 (its table), twice U is t u.
func TestLevel(t *testing.T) {
	p, err := workshop.Level([]workshop.Contact{{X: -1, Y: -1, Z: 1}, {X: 1, Y: -1, Z: -1}, {X: -1, Y: 1, Z: -1}, {X: 1, Y: 1, Z: 1}, {}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", p.A.Value, 0, 1e-12)
	near(t, "off", p.Off, math.Sqrt2, 1e-12)
	near(t, "doubt", 2*p.A.U, 4.3027*math.Sqrt2/2, 1e-3)
	line := []workshop.Contact{{X: 0, Y: 5}, {X: 1, Y: 5}, {X: 2, Y: 5}, {X: 3, Y: 5}}
	if _, err := workshop.Level(line); err == nil {
		t.Error("one row told a plane")
	}
}

// TestFour: of four supports one follows, and every one of them keeps to the plane;
// supports on one line are refused.
func TestFour(t *testing.T) {
	s := []workshop.Support{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 200}, {X: 0, Y: 200}}
	a, err := workshop.Tram(workshop.Plane{A: workshop.Value{Value: 0.001, U: 0.0001}, B: workshop.Value{Value: 0.002}}, s, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	follow := 0
	for _, x := range a {
		near(t, "up", x.Up.Value, 0.2-(0.001*x.X+0.002*x.Y), 1e-12) // the second one, at 0.2 mm, stays
		if x.Follows {
			follow++
		}
	}
	if follow != 1 || a[1].Sure || !a[0].Sure || !a[1].Stays {
		t.Errorf("%+v", a)
	}
	near(t, "u of the turns", a[0].Turns.U, 0.0001*200/0.5, 1e-12)
	for i := range s {
		s[i].Y = 0
	}
	if _, err := workshop.Tram(workshop.Plane{A: workshop.Value{}, B: workshop.Value{}}, s, 0.5); err == nil {
		t.Error("a line of supports was taken")
	}
}

// TestAfter by hand: a roll of asin(0.36/45) over 219 mm is 0.008 rad, over 300 mm of
// mounting 0.010959; a shim of 0.22 mm at 20 mm undoes 0.0110: hardly anything is
// left. A shim of 0.11 mm leaves half.
func TestAfter(t *testing.T) {
	r, err := workshop.FromGap(8, 227, workshop.Value{Value: -0.36, U: 0.005}, 45)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "all", r.After(45, 300, 20, 0.2192, 0.003).Value, 0, 0.0005)
	half := r.After(45, 300, 20, 0.1096, 0.003)
	near(t, "half", half.Value, 0.18, 0.0005)
	// u: the roll's 0.005/45 and the shim's 0.003/20 x 219/300, at the lever.
	near(t, "u", half.U, math.Hypot(0.005, 45*0.003/20*219/300), 1e-5)
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
