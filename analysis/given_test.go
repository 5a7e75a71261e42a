package analysis_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/analysis/given"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

func TestReadCSV(t *testing.T) {
	ts, err := given.ReadCSV(strings.NewReader("\ufeffX, y ,z,t,side,repeat\n# a comment\n\n1,2,-0.5,3.5,+x-y,0\n4,5,0.25,4.5,,1\r\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := record.Touch{N: 1, T: 3.5, Place: record.Place{U: 1, V: 2}, Z: -0.5, Side: record.Side{X: -1, Y: 1}, Series: record.SeriesGiven, Spot: -1}
	if len(ts) != 2 || ts[0] != want || ts[1].Pass != 1 || ts[1].Index != 1 {
		t.Errorf("got %+v", ts)
	}
	if ts, err := given.ReadCSV(strings.NewReader("z;x;y\n0.1;2;3\n")); err != nil || ts[0].Z != 0.1 || ts[0].Place.V != 3 {
		t.Errorf("semicolons, other order: %+v, %v", ts, err)
	}
}

func TestReadCSVRefuses(t *testing.T) {
	for name, c := range map[string]struct{ text, says string }{
		"empty":          {"", "the file is empty"},
		"header only":    {"x,y,z\n", "nothing follows the header"},
		"no header":      {"1,2,3\n", `line 1: column "1" is not known`},
		"missing column": {"x,y,t\n", `column "z" is missing`},
		"twice":          {"x,y,z,x\n", "stands twice"},
		"comma decimals": {"x,y,z\n1,5,2,5,0,1\n", "line 2: 6 values where the header has 3"},
		"words":          {"x,y,z\n1,2,three\n", `line 2: not a table of touches: z is "three", not a number`},
		"nan":            {"x,y,z\n1,2,NaN\n", "z is \"NaN\""},
		"huge":           {"x,y,z\n1,2,1e9\n", "z is \"1e9\""},
		"side":           {"x,y,z,side\n1,2,3,above\n", "side is \"above\""},
		"repeat":         {"x,y,z,repeat\n1,2,3,once\n", "repeat is \"once\""},
		"long":           {"x,y,z\n" + strings.Repeat("1", 70<<20), "is it the right file"},
		"binary":         {"\x00\x01\x02\xff\n", "is not known"},
	} {
		_, err := given.ReadCSV(strings.NewReader(c.text))
		if err == nil || !strings.Contains(err.Error(), c.says) || !errors.Is(err, given.ErrCSV) {
			t.Errorf("%s: %v, want one that says %q", name, err, c.says)
		}
	}
}

// A large file is read, and judged as a survey without gauging: undetermined,
// with the profile as evidence.
func TestGivenSurvey(t *testing.T) {
	var b strings.Builder
	b.WriteString("x,y,z\n")
	r := rand.New(rand.NewPCG(1, 1))
	for j := range 400 {
		for i := range 500 {
			x := float64(i)*0.4 - 100
			fmt.Fprintf(&b, "%.1f,%.1f,%.4f\n", x, float64(j)*0.5, 1e-5*x*x+0.005*r.NormFloat64())
		}
	}
	ts, err := given.ReadCSV(strings.NewReader(b.String()))
	if err != nil || len(ts) != 200000 {
		t.Fatal(len(ts), err)
	}
	run := record.Run{Touches: ts, Setup: record.Setup{Lever: record.Lever{Y: 45}}}
	v := analysis.Judge(run)
	if v.Profile == nil || !v.Profile.Significant || v.Profile.Size.Value < 0.05 {
		t.Errorf("profile %+v of a bow of 0.1 mm", v.Profile)
	}
	if v.Findings[0].ID != analysis.Undetermined || v.Gap != nil || v.Share != nil {
		t.Errorf("a map alone is undetermined: %+v", v.Findings)
	}
	if _, r := v.Table(run); code(r) != analysis.NoGauging {
		t.Errorf("%+v", r)
	}
}

// Repeats at one place in a file that says nothing of them make a repeat test.
func TestGivenRepeats(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	var ts []record.Touch
	for i := range 40 {
		ts = append(ts, record.Touch{N: int64(i), Place: record.Place{U: 100, V: 100}, Z: 0.05 * r.NormFloat64(), Series: record.SeriesGiven})
	}
	f, failed := steady.Steady(record.Run{Touches: ts}).Failed()
	if !failed || f.ID != analysis.ProbeNotRepeatable {
		t.Errorf("scatter of 0.05 mm: %+v", f)
	}
}

// A repeat column makes passes: wandering is seen in a stranger's file too.
func TestGivenPasses(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	var ts []record.Touch
	for pass := range 3 {
		k := 0.08 * float64(pass-1)
		for i := range 40 {
			x := float64(i)*3 - 60
			ts = append(ts, record.Touch{N: int64(len(ts)), Place: record.Place{U: x, V: 100}, Z: k*x/60 + 0.005*r.NormFloat64(), Series: record.SeriesGiven, Pass: pass})
		}
	}
	f, failed := steady.Steady(record.Run{Touches: ts}).Failed()
	if !failed || f.ID != analysis.WornWheels {
		t.Errorf("passes that tilt by 0.08 mm: %+v", f)
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("x,y,z\n1,2,3\n")
	f.Add("x;y;z;side\n1;2;3;+x\n")
	f.Fuzz(func(t *testing.T, s string) {
		ts, err := given.ReadCSV(strings.NewReader(s))
		if (err == nil) == (len(ts) == 0) {
			t.Fatalf("%d touches and %v", len(ts), err)
		}
		analysis.Judge(record.Run{Touches: ts})
	})
}
