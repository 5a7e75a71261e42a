package proof_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"abbed/analysis/proof"
	"abbed/config/say/saytest"
	"abbed/probe/record"
)

var area = record.Rect{X0: 13, Y0: 13, X1: 222, Y1: 222}

// nine are the places of a print: corners, middles of the edges, the zero place.
func nine() (out []record.Place) {
	for j := range 3 {
		for i := range 3 {
			out = append(out, record.Place{U: 13 + 104.5*float64(i), V: 13 + 104.5*float64(j)})
		}
	}
	return out
}

// print reads each of the nine patches twice, with the true error left(t, s), t and s from
// -1 to 1: PatchU times rough is each patch's own, 0.004 mm that of each reading, and 0.45
// mm what all share.
func print(rng *rand.Rand, rough float64, left func(t, s float64) float64) []proof.Reading {
	return readings(rng, nine(), 2, rough, left)
}

func readings(rng *rand.Rand, at []record.Place, n int, rough float64, left func(t, s float64) float64) (out []proof.Reading) {
	for _, p := range at {
		own := 0.45 + left((p.U-117.5)/104.5, (p.V-117.5)/104.5) + rough*record.PatchU*rng.NormFloat64()
		for range n {
			out = append(out, proof.Reading{U: p.U, V: p.V, MM: own + 0.004*rng.NormFloat64()})
		}
	}
	return out
}

var gap = func(t, s float64) float64 { return -0.18 * t }

func predicted(u, v float64) (float64, float64, bool) {
	return gap((u-117.5)/104.5, 0), 0.020, true
}

func corrected() proof.Case {
	return proof.Case{ZeroU: 117.5, ZeroV: 117.5, Tolerance: 0.03, Corrected: true, Area: area, Planned: nine(), Predicted: predicted}
}

var prints = flag.Int("prints", 50, "simulated prints of each kind, twice as many in TestJudge")

func nothing(t, s float64) float64 { return 0 }

// TestJudge: over many prints with a known truth, how often it says what. What is wrong
// (more than the tolerance of 0.03 mm somewhere on the bed) is verified in at most 2 % of
// prints and called wrong in most, what is right in 80 % or more, and hardly ever called
// wrong. The print is the product's own, two patches at each place, or nine patches that
// are read twice. TestVerification holds how often kinds of changes are verified.
func TestJudge(t *testing.T) {
	prints, two := 2*float64(*prints), corrected()
	two.Planned = pairs(two)
	for name, c := range map[string]struct {
		left            func(t, s float64) float64
		rough           float64
		nine            bool       // patches, read twice
		verified, wrong [2]float64 // shares that are allowed
		says            string
	}{
		"nothing left":        {nothing, 1, false, [2]float64{0.9, 1}, [2]float64{0, 0.01}, ""},
		"a slope within":      {func(t, s float64) float64 { return 0.008*t - 0.006*s }, 1, false, [2]float64{0.5, 1}, [2]float64{0, 0.02}, ""},
		"a bow within":        {func(t, s float64) float64 { return 0.010 * t * t }, 1, false, [2]float64{0.8, 1}, [2]float64{0, 0.01}, ""},
		"nothing, rough":      {nothing, 1.6, false, [2]float64{0.5, 1}, [2]float64{0, 0.02}, ""},
		"a slope at its end":  {func(t, s float64) float64 { return 0.045 * t }, 1, true, [2]float64{0, 0.02}, [2]float64{0.5, 1}, ""},
		"a slope beyond":      {func(t, s float64) float64 { return 0.037 * t }, 1, true, [2]float64{0, 0.02}, [2]float64{0.3, 1}, ""},
		"a slope beyond, two": {func(t, s float64) float64 { return 0.037 * t }, 1, false, [2]float64{0, 0.02}, [2]float64{0.3, 1}, ""},
		"a corner beyond":     {func(t, s float64) float64 { return 0.037 / 3 * (t + s + t*s) }, 1, true, [2]float64{0, 0.1}, [2]float64{0, 1}, ""},
		"a corner, two":       {func(t, s float64) float64 { return 0.037 / 3 * (t + s + t*s) }, 1, false, [2]float64{0, 0.1}, [2]float64{0, 1}, ""},
		"a slope, rough":      {func(t, s float64) float64 { return 0.05 * t }, 1.6, true, [2]float64{0, 0.02}, [2]float64{0.3, 1}, ""},
		"along Y":             {func(t, s float64) float64 { return 0.05 * s }, 1, true, [2]float64{0, 0.02}, [2]float64{0.5, 1}, ""},
		"a corner of a slope": {func(t, s float64) float64 { return 0.025 * (t + s) }, 1, true, [2]float64{0, 0.02}, [2]float64{0.5, 1}, ""},
		"a bow":               {func(t, s float64) float64 { return 0.05 * t * t }, 1, true, [2]float64{0, 0.02}, [2]float64{0.3, 1}, ""},
		"a bow, two":          {func(t, s float64) float64 { return 0.05 * t * t }, 1, false, [2]float64{0, 0.02}, [2]float64{0.3, 1}, ""},
		"a bow along Y":       {func(t, s float64) float64 { return -0.06 * s * s }, 1, true, [2]float64{0, 0.02}, [2]float64{0.5, 1}, ""},
		"a rolling Y axis":    {func(t, s float64) float64 { return 0.05 * t * s }, 1, true, [2]float64{0, 0.02}, [2]float64{0.5, 1}, ""},
		"right edge":          {func(t, s float64) float64 { return -0.2 * max(0, t-0.5) }, 1, true, [2]float64{0, 0.02}, [2]float64{0.9, 1}, ""},
		"one high place":      {func(t, s float64) float64 { return map[bool]float64{true: 0.1}[t > 0.9 && s > 0.9] }, 1, true, [2]float64{0, 0.02}, [2]float64{0.7, 1}, ""},
		"one high place, two": {func(t, s float64) float64 { return map[bool]float64{true: 0.1}[t > 0.7 && s > 0.7] }, 1, false, [2]float64{0, 0.02}, [2]float64{0.7, 1}, ""},
		"a third":             {func(t, s float64) float64 { return gap(t, s) / 3 }, 1, true, [2]float64{0, 0.02}, [2]float64{0.9, 1}, ""},
		"not in force":        {gap, 1, false, [2]float64{0, 0}, [2]float64{1, 1}, "not in force"},
		"twice":               {func(t, s float64) float64 { return -gap(t, s) }, 1, false, [2]float64{0, 0}, [2]float64{1, 1}, "twice"},
		"the wrong way":       {func(t, s float64) float64 { return 2 * gap(t, s) }, 1, true, [2]float64{0, 0}, [2]float64{1, 1}, "wrong way"},
	} {
		t.Run(name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(8, 1))
			count := map[proof.Verdict]float64{}
			held, k, each := 0.0, two, 1
			if c.nine {
				k, each = corrected(), 2
			}
			for range int(prints) {
				r, err := proof.Judge(readings(rng, k.Planned, each, c.rough, c.left), k)
				if err != nil {
					t.Fatal(err)
				}
				count[r.Verdict]++
				plain(t, r)
				for _, l := range r.Left {
					if truth := c.left((l.U-117.5)/104.5, (l.V-117.5)/104.5) - c.left(0, 0); math.Abs(l.Error-truth) <= l.U95 {
						held++
					}
				}
				if r.Verdict == proof.Wrong && !strings.Contains(r.Next, c.says) {
					t.Fatalf("%s\n%s %v", r.Sentence, r.Next, r.Share)
				}
			}
			t.Logf("%s: %v; %.3f of the intervals hold", name, count, held/prints/float64(len(k.Planned)))
			if p := count[proof.Verified] / prints; p < c.verified[0] || p > c.verified[1] {
				t.Errorf("verified in %.3f", p)
			}
			if p := count[proof.Wrong] / prints; p < c.wrong[0] || p > c.wrong[1] {
				t.Errorf("wrong in %.3f", p)
			}
		})
	}
}

// TestNothingVerified: with nothing left, nothing is verified while a patch was not
// read, has gaps, or has a slip in it, and each is named; all patches thicker by the same
// amount are the Z offset.
func TestNothingVerified(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 4))
	for name, c := range map[string]struct {
		of   func([]proof.Reading) []proof.Reading
		with func(*proof.Case)
		says []string
	}{
		"a line left out": {func(r []proof.Reading) []proof.Reading { return r[2:] }, nil, []string{"X 13, Y 13", "no reading"}},
		"the right column": {func(r []proof.Reading) []proof.Reading {
			return keep(r, func(x proof.Reading) bool { return x.U < 200 })
		}, nil, []string{"X 222, Y 13 and X 222, Y 117.5 and X 222, Y 222"}},
		"the same, no plan": {func(r []proof.Reading) []proof.Reading {
			return keep(r, func(x proof.Reading) bool { return x.U < 200 })
		}, func(c *proof.Case) { c.Planned = nil }, []string{"X 222, Y 13 and X 222, Y 222"}},
		"gaps":           {func(r []proof.Reading) []proof.Reading { r[17].Gaps, r[17].MM = true, 0; return r }, nil, []string{"X 222, Y 222", "there are gaps"}},
		"a slip":         {func(r []proof.Reading) []proof.Reading { r[0].MM += 0.09; return r }, nil, []string{"X 13, Y 13", "a third time"}},
		"the zero place": {func(r []proof.Reading) []proof.Reading { return append(r[:8:8], r[10:]...) }, nil, []string{"zero point"}},
		"five":           {func(r []proof.Reading) []proof.Reading { return r[:10] }, nil, []string{"5 patches"}},
		"all gaps but three": {func(r []proof.Reading) []proof.Reading {
			for i := 6; i < 18; i++ {
				r[i].Gaps = true
			}
			return r
		}, nil, []string{"3 patches", "Z offset lower"}},
	} {
		for range 20 {
			k := corrected()
			if c.with != nil {
				c.with(&k)
			}
			r, err := proof.Judge(c.of(print(rng, 1, nothing)), k)
			plain(t, r)
			for _, says := range c.says {
				if err != nil || r.Verdict != proof.CannotTell || !strings.Contains(r.Sentence+r.Next, says) {
					t.Fatalf("%s: %v %s: %s %s", name, err, r.Verdict, r.Sentence, r.Next)
				}
			}
		}
	}
	r := print(rng, 1, nothing)
	third := append(slices.Clone(r), r[1])
	third[0].MM += 0.09
	if r, err := proof.Judge(third, corrected()); err != nil || r.Verdict == proof.CannotTell && strings.Contains(r.Sentence, "differ") {
		t.Errorf("two of three agree: %v %+v", err, r)
	}
	beside := readings(rng, pairs(corrected()), 1, 0.3, nothing)
	beside[3].MM += 0.12
	if r, err := proof.Judge(beside, corrected()); err != nil || r.Verdict != proof.CannotTell || !strings.Contains(r.Next, "Read both again") {
		t.Errorf("one reading of two patches beside each other is a slip: %v %+v", err, r)
	}
	k := corrected()
	k.Layer = 0.2
	if r, err := proof.Judge(print(rng, 1, nothing), k); err != nil || math.Abs(r.Thicker-0.25) > 0.02 || !strings.Contains(r.Next, "Set the Z offset 0.2") {
		t.Errorf("%v %+v", err, r)
	}
	if _, err := proof.Judge([]proof.Reading{{MM: 20}}, corrected()); err == nil {
		t.Error("20 mm was taken")
	}
}

// plain holds what is said to the guide to plain words.
func plain(t *testing.T, r proof.Result) {
	t.Helper()
	for text, kind := range map[string]saytest.Kind{r.Sentence: saytest.Page, r.Next: saytest.Page, r.Doubt: saytest.Details} {
		for _, f := range append(saytest.Faults(text, kind), saytest.Whole(text)...) {
			t.Fatalf("%s: %s", f, text)
		}
	}
}

func keep(all []proof.Reading, good func(proof.Reading) bool) (out []proof.Reading) {
	for _, r := range all {
		if good(r) {
			out = append(out, r)
		}
	}
	return out
}

// TestBare: without a correction the patches agree with the gauging, or do not.
func TestBare(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 2))
	c := corrected()
	c.Corrected = false
	for want, left := range map[proof.Verdict]func(t, s float64) float64{proof.Agrees: gap, proof.Contradicts: nothing} {
		n := 0
		for range 200 {
			r, err := proof.Judge(print(rng, 1, left), c)
			if err != nil {
				t.Fatal(err)
			}
			if r.Verdict == want {
				n++
			}
			if r.Share == nil || math.Abs(r.Share.Value-map[proof.Verdict]float64{proof.Agrees: 1}[want]) > 0.3 {
				t.Fatalf("share %v", r.Share)
			}
		}
		if n < 196 {
			t.Errorf("%s: %d of 200", want, n)
		}
	}
}

// TestMeans: by hand. 0.20, 0.22 and 0.21 have the mean 0.21 and the standard
// deviation 0.01 (2 degrees of freedom); a single reading adds none. The doubt of
// the mean is sqrt(0.012^2 + 0.01^2/3) (JCGM 100:2008 4.2.3 and 5.1.2).
func TestMeans(t *testing.T) {
	ps, s, dof := proof.Patches([]proof.Reading{{U: 1, MM: 0.20}, {U: 2, MM: 0.3}, {U: 1, MM: 0.22}, {U: 1, MM: 0.21}})
	if len(ps) != 2 || ps[0].N != 3 || math.Abs(ps[0].MM-0.21) > 1e-12 || math.Abs(s-0.01) > 1e-12 || dof != 2 {
		t.Fatal(ps, s, dof)
	}
	if want := math.Sqrt(0.012*0.012 + 0.0001/3); math.Abs(ps[0].Doubt-want) > 1e-12 {
		t.Error(ps[0].Doubt, want)
	}
}

// TestCSV: both kinds of header, any order, separators; faults name their line.
func TestCSV(t *testing.T) {
	for text, want := range map[string]proof.Reading{
		"patch,thickness\n3,0.214\n":                  {Patch: 3, MM: 0.214},
		"\ufeffThickness;Patch\r\n0.2;7\r\n":          {Patch: 7, MM: 0.2},
		"# worksheet\nx\ty\tmm\n10.5\t20\t0.19\n":     {U: 10.5, V: 20, MM: 0.19},
		"u, v, thickness, remark\n1, 2, 0.3, oily\n":  {U: 1, V: 2, MM: 0.3},
		"u, v, thickness, remark\n1, 2, 0.3, round\n": {U: 1, V: 2, Gaps: true},
		"patch;thickness;thickness\n4;Gaps;\n":        {Patch: 4, Gaps: true},
		"patch,thickness\n1,\n2,0.2\n":                {Patch: 2, MM: 0.2},
	} {
		r, err := proof.ReadCSV(strings.NewReader(text))
		if err != nil || len(r) != 1 || r[0] != want {
			t.Errorf("%q: %v %v", text, r, err)
		}
	}
	three, err := proof.ReadCSV(strings.NewReader("patch;thickness 1;thickness 2;thickness 3\n1;0,201;0,204;0.203\n2;0,198;;\n3;;0,2;\n"))
	if want := []proof.Reading{{Patch: 1, MM: 0.201}, {Patch: 1, MM: 0.204}, {Patch: 1, MM: 0.203}, {Patch: 2, MM: 0.198}, {Patch: 3, MM: 0.2}}; err != nil || !slices.Equal(three, want) {
		t.Errorf("three columns with commas: %v %v", three, err)
	}
	for text, says := range map[string]string{
		"patch,thickness\n1,0,2\n2,0.2\n": "cannot be right",
		"":                                "empty",
		"a,b\n1,2\n":                      "header",
		"patch,thickness\n1,21\n":         "in mm?",
		"patch,thickness\n1.5,0.2\n":      "number of a patch",
		"patch,thickness\n1,NaN\n":        "line 2",
		"patch,thickness\n1,holes\n":      "line 2",
		"patch,thickness\n1,\"0.2\n":      "read thickness",
		"u,thickness\n1,0.2\n":            "header",
	} {
		if _, err := proof.ReadCSV(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("patch,thickness\n1,0.2\n")
	f.Add("u;v;thickness\n1;2;0.2\n")
	f.Fuzz(func(t *testing.T, text string) {
		rs, err := proof.ReadCSV(strings.NewReader(text))
		for _, r := range rs {
			if err == nil && proof.Check(r) != nil {
				t.Fatal(r)
			}
		}
	})
}
