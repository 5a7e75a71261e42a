package e2e_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/cmd/abbed/ask"
	"abbed/daemon/api"
)

// TestReadings: what instruments showed comes after the run, as a list or as CSV; it
// is kept with the run, joins its fit, and is there after a restart. Bad input is
// refused whole, and nothing of it is kept.
func TestReadings(t *testing.T) {
	t.Parallel()
	measuredHouse(t, 2, 1, []string{"repeat", "gauging"}, func(t *testing.T, m *measuredWorld) {
		places := sevenBySix()
		before, alone := m.gaps(places), m.doubt(places)
		m.historyHolds(t)
		for name, bad := range map[string]api.Readings{
			"nothing":               {Person: "Ida"},
			"no word of force":      {CSV: "quantity,x,y,value\ncoupon,100,100,0.2\n"},
			"off the bed":           {CSV: "quantity,x,y,value\ncoupon,900,100,0.2\n", InForce: "none"},
			"half a table":          {CSV: "quantity,x,y,value\ncoupon,100,100,0.2\ncoupon,100,120\n", InForce: "none"},
			"an angle without u":    {Readings: []api.InstrumentReading{{Quantity: "roll", U: 100, V: 100, Value: 0.2}}},
			"an unknown instrument": {Readings: []api.InstrumentReading{{Quantity: "yaw", U: 100, V: 100, Value: 0.2, Doubt: 0.1}}},
			"a bar passed once":     {Reference: &api.ReferenceBar{Thickness: 10, Straight: 0.01, CSV: "x,y,z\n20,90,10\n60,90,10\n100,90,10\n140,90,10\n180,90,10\n"}},
			"a bar without grade":   {Reference: &api.ReferenceBar{Thickness: 10, CSV: "x,y,z\n20,90,10\n"}},
		} {
			if _, err := m.api.Readings(t.Context(), m.run.ID, bad); err == nil || !strings.Contains(err.Error(), "readings") {
				t.Errorf("%s: %v", name, err)
			}
		}
		if again := m.doubt(places); again != alone {
			t.Errorf("what was refused changed the fit: %.6f, was %.6f", again, alone)
		}
		rng := rand.New(rand.NewPCG(4, 4))
		csv := "quantity,x,y,value,u\n"
		for i, at := range places {
			if before[i].Gap != nil {
				csv += fmt.Sprintf("coupon,%g,%g,%.4f,\n", at[0], at[1], 0.21+*before[i].Gap+0.01*rng.NormFloat64())
			}
		}
		kept, err := m.api.Readings(t.Context(), m.run.ID, api.Readings{CSV: csv, InForce: "none", Person: "Ida",
			Readings: []api.InstrumentReading{{Quantity: "pitch", U: 60, V: 117, Value: 0.1, Doubt: 0.02}}})
		if err != nil {
			t.Fatal(err)
		}
		if kept.Coupons < 20 || kept.Pitches != 1 || !strings.Contains(strings.Join(kept.Tells, " "), "coupons") {
			t.Errorf("kept %+v", kept)
		}
		joined := m.doubt(places)
		if !(joined < alone) {
			t.Errorf("the patches made nothing surer: %.4f, alone %.4f", joined, alone)
		}
		// A second list of a quantity takes the place of the first, and that is said.
		one := api.Readings{Readings: []api.InstrumentReading{{Quantity: "pitch", U: 60, V: 117, Value: 0.1, Doubt: 0.02}}}
		if kept, err = m.api.Readings(t.Context(), m.run.ID, one); err != nil || !strings.Contains(strings.Join(kept.Tells, " "), "What was entered before of the head's pitch (readings: 1) no longer counts") {
			t.Errorf("a second pitch: %+v, %v", kept, err)
		}
		if again := m.doubt(places); math.Abs(again-joined) > 1e-9 {
			t.Errorf("a second pitch changed the patches' fit: %.6f, was %.6f", again, joined)
		}
		m.historyHolds(t)
		safe(t, m.world)
		m.restart()
		if again := m.doubt(places); math.Abs(again-joined) > 1e-9 {
			t.Errorf("after a restart the doubt is %.6f, was %.6f", again, joined)
		}
	})
}

// TestAnalyseBeside: analyse takes readings and a reference from files, and says what
// is wrong with them and which file it is.
func TestAnalyseBeside(t *testing.T) {
	dir := t.TempDir()
	at := func(name, text string) string {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return filepath.Join(dir, name)
	}
	touches, bar := "x,y,z,t\n", "x,y,z,repeat\n"
	for k := range 60 {
		touches += fmt.Sprintf("%d,%d,%.4f,%d\n", 20+20*(k%10), 20+30*(k/10), 0.02*float64(k%7), 4*k)
	}
	for k := range 22 {
		bar += fmt.Sprintf("%d,100,%.4f,%d\n", 20+18*(k%11), 10+0.002*float64((k%11-5)*(k%11-5)), k/11)
	}
	csv, ref := at("touches.csv", touches), at("bar.csv", bar)
	run := func(args ...string) (string, error) {
		c := ask.AnalyseCommand()
		var out bytes.Buffer
		c.SetOut(&out)
		c.SetErr(&out)
		c.SilenceErrors, c.SilenceUsage = true, true
		c.SetArgs(append([]string{csv, "--json", "--bed", "0,0,235,235", "--lever", "0,45"}, args...))
		err := c.Execute()
		return out.String(), err
	}
	out, err := run("--reference", ref, "--reference-thickness", "10", "--reference-straight", "0.01", "--readings", at("ok.csv", "quantity,x,y,value,u\nroll,60,100,0.5,0.02\n"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out, `"reference"`) {
		t.Errorf("the reference tells nothing: %.400s", out)
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"--reference", ref}, "--reference wants --reference-thickness and --reference-straight"},
		{[]string{"--reference", ref, "--reference-thickness", "30", "--reference-straight", "0.01"}, "bar.csv: lay a reference"},
		{[]string{"--readings", at("empty.csv", "")}, "empty.csv: read readings: not readings of an instrument: the file is empty"},
		{[]string{"--readings", at("bad.csv", "quantity,x,y,value\nroll,1,1,x\n")}, `bad.csv: read readings: line 2: not readings of an instrument: value is "x"`},
		{[]string{"--readings", at("coupons.csv", "quantity,x,y,value\ncoupon,100,100,0.2\n")}, "--in-force none, map or file has to be said with coupons"},
		{[]string{"--readings", filepath.Join(dir, "none.csv")}, "none.csv"},
	} {
		if _, err := run(c.args...); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v, want %q", c.args, err, c.says)
		}
	}
}
