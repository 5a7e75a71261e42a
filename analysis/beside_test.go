package analysis_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/analysis/given"
	"abbed/probe/record"
)

func TestReadReadings(t *testing.T) {
	text := "# by hand\nquantity;x;y;value;u\ncoupon;20;50;0.213;\nroll; 60 ; 132.5; 0.50; 0.02\npitch;60;132.5;-0.25;0.02\n"
	got, err := given.ReadReadings(strings.NewReader("\ufeff" + text))
	if err != nil {
		t.Fatal(err)
	}
	comma, err := given.ReadReadings(strings.NewReader(strings.ReplaceAll(text, ".", ",")))
	if err != nil || !slices.Equal(comma, got) {
		t.Errorf("with decimal commas: %v, %v", comma, err)
	}
	want := []record.Reading{
		{Quantity: record.QuantityCoupon, Place: record.Place{U: 20, V: 50}, Value: 0.213, U: 0.012},
		{Quantity: record.QuantityRoll, Place: record.Place{U: 60, V: 132.5}, Value: 0.5 * math.Pi / 180, U: 0.02 * math.Pi / 180},
		{Quantity: record.QuantityPitch, Place: record.Place{U: 60, V: 132.5}, Value: -0.25 * math.Pi / 180, U: 0.02 * math.Pi / 180},
	}
	if len(got) != len(want) {
		t.Fatalf("%d readings", len(got))
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%+v, want %+v", got[i], want[i])
		}
	}
}

// Bad input is refused with the line, the cause and the remedy.
func TestReadReadingsRefuses(t *testing.T) {
	head := "quantity,x,y,value,u\n"
	for _, c := range []struct{ name, text, says string }{
		{"empty", "", "the file is empty; give a header"},
		{"comments only", "# nothing\n\n", "the file is empty"},
		{"header only", head, "nothing follows the header"},
		{"no header", "coupon,20,50,0.2,0.01\n", `column "coupon" is not known; the first line must name the columns: quantity,x,y,value`},
		{"a column is missing", "quantity,x,y\ncoupon,1,2\n", `column "value" is missing`},
		{"a column twice", "quantity,x,y,value,x\n", `column "x" stands twice; leave one out`},
		{"too few values", head + "coupon,20,50,0.2,0.01\ncoupon,20,50\n", "line 3: 3 values where the header has 5"},
		{"decimal comma", head + "coupon,20,50,0,2,0.01\n", "6 values where the header has 5 columns; write one value a column, with decimal points"},
		{"not a number", head + "coupon,20,fifty,0.2,\n", `line 2: not readings of an instrument: y is "fifty", not a number; correct it`},
		{"nan", head + "coupon,20,50,NaN,\n", `value is "NaN", not a number`},
		{"infinite", head + "roll,20,50,Inf,0.02\n", `value is "Inf", not a number`},
		{"no such quantity", head + "yaw,20,50,0.1,0.02\n", `quantity "yaw" is not known; write coupon, roll or pitch`},
		{"a patch in um", head + "coupon,20,50,213,\n", "0.02 to 2 mm is taken"},
		{"a patch without thickness", head + "coupon,20,50,0,\n", "a patch of 0 mm"},
		{"an exact instrument", head + "roll,20,50,0.1,0\n", "u is 0, and no instrument is exact"},
		{"an angle without doubt", head + "roll,20,50,0.1,\n", "a roll wants its standard uncertainty u in degrees"},
		{"a negative doubt", head + "pitch,20,50,0.1,-0.1\n", "cannot be right"},
		{"a steep head", head + "roll,20,50,45,0.1\n", "give at most 20°"},
		{"far away", head + "coupon,1e9,50,0.2,\n", "give x and y in mm"},
		{"an open quote", head + "\"coupon,20,50,0.2,\n", "not readings of an instrument"},
	} {
		_, err := given.ReadReadings(strings.NewReader(c.text))
		if !errors.Is(err, given.ErrReadings) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
	if _, err := given.ReadReadings(strings.NewReader(head + strings.Repeat("coupon,20,50,0.2,\n", 2001))); err == nil || !strings.Contains(err.Error(), "more than 2000 readings") {
		t.Errorf("2001 readings: %v", err)
	}
}

// bar is a CSV of touches along a reference of 10 mm, twice over n places, that
// show the machine's own bend.
func bar(n int, bend func(u float64) float64, rng *rand.Rand) string {
	var b strings.Builder
	b.WriteString("x,y,z,repeat\n")
	for pass := range 2 {
		for i := range n {
			u := 20 + 195*float64(i)/float64(n-1)
			fmt.Fprintf(&b, "%.2f,90,%.4f,%d\n", u, 10+bend(u)+0.03*float64(pass)+0.003*rng.NormFloat64(), pass)
		}
	}
	return b.String()
}

func TestLayRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	flat := func(float64) float64 { return 0 }
	good := bar(9, flat, rng)
	for _, c := range []struct {
		name, text      string
		thick, straight float64
		says            string
	}{
		{"good", good, 10, 0.01, ""},
		{"no thickness", good, 0, 0.01, "give that of the bar"},
		{"not a bar", good, 500, 0.01, "1 to 100 mm"},
		{"no straightness", good, 10, 0, "give what its grade allows"},
		{"a bent bar", good, 10, 3, "no zone of straightness"},
		{"another thickness", good, 25, 0.01, "nearer to the bed than to the reference of 25 mm"},
		{"touches of the bed", strings.ReplaceAll(good, ",90,10.", ",90,0."), 10, 0.01, "nearer to the bed"},
		{"one pass", "x,y,z\n20,90,10\n60,90,10\n100,90,10\n140,90,10\n180,90,10\n", 10, 0.01, "pass every place twice"},
		{"few places", bar(4, flat, rng), 10, 0.01, "4 places along X; five or more"},
		{"along Y", "x,y,z\n20,10,10\n20,60,10\n", 10, 0.01, "a reference lies along X"},
		{"no touches", "x,y,z\n", 10, 0.01, "nothing follows the header"},
		{"not touches", "a,b\n1,2\n", 10, 0.01, `column "a" is not known`},
	} {
		var b given.Beside
		err := b.LayCSV(strings.NewReader(c.text), c.thick, c.straight)
		switch {
		case c.says == "" && (err != nil || b.Reference == nil || b.Reference.X0 != 20 || b.Reference.X1 != 215 || b.Reference.Y != 90 || len(b.Touches) != 18):
			t.Errorf("%s: %+v, %v", c.name, b, err)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
}

// What was measured beside a run makes its answer surer, in the way of the same
// readings taken one by one: patches and the reference lower the doubt of a bow,
// and the answer still holds the truth.
func TestBeside(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.10*x + 0.05*x*x })
	m.bed = shaped(func(x, y float64) float64 { return -0.05 * x * x })
	in, all, alone, with := 0, 0, 0.0, 0.0
	for seed := range uint64(8) {
		run := simulate(m, standard(), seed+1)
		rng := rand.New(rand.NewPCG(seed, 0xbe))
		v := analysis.Judge(run)
		var patches strings.Builder
		patches.WriteString("quantity,x,y,value\n")
		for _, p := range append(grid(run.Setup.Reach, 5, 3), run.Setup.Zero) {
			fmt.Fprintf(&patches, "coupon,%g,%g,%.4f\n", p.U, p.V, 0.2137+m.gap(p.U, p.V)+0.012*rng.NormFloat64())
		}
		var b given.Beside
		var err error
		if b.Readings, err = given.ReadReadings(strings.NewReader(patches.String())); err != nil {
			t.Fatal(err)
		}
		// The bar shows the head's bend without the bed: D = g for a lever along Y.
		bend := func(u float64) float64 { return m.gap(u, 132.5) - 0.10*(u-117.5)/97.5 }
		if err := b.LayCSV(strings.NewReader(bar(21, bend, rng)), 10, 0.01); err != nil {
			t.Fatal(err)
		}
		more := run.Clone()
		b.Join(&more, false)
		w := analysis.Judge(more)
		if v.Gap == nil || w.Gap == nil {
			t.Fatalf("seed %d: %v, %v", seed, v.GapWhy, w.GapWhy)
		}
		k, n, u := within(w, m, run)
		_, _, before := within(v, m, run)
		in, all, alone, with = in+k, all+n, alone+before, with+u
	}
	t.Logf("u95 %.1f um alone, %.1f um with what was measured beside; coverage %.3f", 125*alone, 125*with, float64(in)/float64(all))
	if with > 0.9*alone {
		t.Errorf("u95 %.1f um alone, %.1f um with what was measured beside", 125*alone, 125*with)
	}
	if float64(in) < 0.9*float64(all) {
		t.Errorf("coverage %.3f", float64(in)/float64(all))
	}
}

// TestBesideAgain: what is entered a second time replaces what was entered before, and
// does not count beside it: the same list sent twice makes nothing surer, readings with
// the instrument mounted anew do not contradict the earlier ones, and a reference that
// was laid anew stands alone. Coupons and angles do not replace each other.
func TestBesideAgain(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, _ float64) float64 { return 0.12 * x })
	run := simulate(m, standard(), 3)
	list := func(zero float64, seed uint64) given.Beside {
		rng := rand.New(rand.NewPCG(seed, 1))
		csv := "quantity,x,y,value,u\n"
		for _, x := range []float64{20, 59, 98, 137, 176, 215, 20} {
			csv += fmt.Sprintf("roll,%g,132.5,%.4f,0.02\n", x, zero-0.12/45*(x-117.5)/97.5*180/math.Pi+0.02*rng.NormFloat64())
		}
		rs, err := given.ReadReadings(strings.NewReader(csv))
		if err != nil {
			t.Fatal(err)
		}
		return given.Beside{Readings: rs}
	}
	coupons := given.Beside{}
	for _, p := range grid(run.Setup.Reach, 4, 2) {
		r, err := given.NewReading(record.QuantityCoupon, p, 0.21+m.gap(p.U, p.V), 0.012)
		if err != nil {
			t.Fatal(err)
		}
		coupons.Readings = append(coupons.Readings, r)
	}
	bar := func(thick, bow float64) given.Beside {
		csv := "x,y,z,repeat\n"
		for k := range 22 {
			x := float64(k%11-5) / 5
			csv += fmt.Sprintf("%d,90,%.4f,%d\n", 20+18*(k%11), thick+bow*(1-x*x)+0.001*float64(k%3), k/11)
		}
		var b given.Beside
		if err := b.LayCSV(strings.NewReader(csv), thick, 0.01); err != nil {
			t.Fatal(err)
		}
		return b
	}
	told := func(what string, bs ...given.Beside) string {
		now := run.Clone()
		for _, b := range bs {
			b.Join(&now, false)
		}
		v := analysis.Judge(now)
		g, u, _ := v.Gap.At(record.Place{U: 200, V: 200})
		out := fmt.Sprintf("%.6f %.6f", g, u)
		for _, x := range v.Tells {
			if x.Value != nil && (what == "" || x.What == what) {
				out += fmt.Sprintf(" %s %v %.6f %.6f", x.What, x.By, x.Value.Value, x.Value.U)
			}
		}
		return out
	}
	first, anew := list(0.7, 1), list(-1.2, 2)
	straight, bowed := bar(10, 0), bar(8, 0.05)
	for name, c := range map[string]struct{ got, want string }{
		"angles sent twice":         {told("", first, first), told("", first)},
		"angles mounted anew":       {told("", first, anew), told("", anew)},
		"coupons between":           {told("", first, coupons, first), told("", coupons, first)},
		"coupons after angles":      {told("", first, coupons), told("", coupons, first)},
		"a reference touched twice": {told("", bowed, bowed), told("", bowed)},
		"another reference":         {told("", straight, bowed), told("", bowed)},
	} {
		if c.got != c.want {
			t.Errorf("%s:\n%s, want\n%s", name, c.got, c.want)
		}
	}
	if a, b := told("beam-slope", first), told("beam-slope", coupons); a == b || !strings.Contains(a, "angles") {
		t.Errorf("the angles tell nothing: %s", a)
	}
	if a, b := told("machine-bend", straight), told("machine-bend", bowed); a == b {
		t.Errorf("both references tell the same: %s", a)
	}
}
