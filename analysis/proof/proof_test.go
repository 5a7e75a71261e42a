package proof_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"abbed/analysis/proof"
	"abbed/probe/record"
)

// print makes readings of 21 patches (73 if dense) with the true error left(t, s), t and s from
// -1 to 1: PatchU is each patch's own, 0.004 mm that of each reading, and 0.45 mm
// what all share.
func print(rng *rand.Rand, dense bool, left func(t, s float64) float64) []proof.Reading {
	var out []proof.Reading
	place := func(u, v float64) {
		own := 0.45 + left((u-117.5)/104.5, (v-117.5)/104.5) + record.PatchU*rng.NormFloat64()
		for range 3 {
			out = append(out, proof.Reading{U: u, V: v, MM: own + 0.004*rng.NormFloat64()})
		}
	}
	place(117.5, 117.5)
	n := 4
	if dense {
		n = 8
	}
	for j := range n {
		for i := range n + 1 {
			place(13+209*float64(i)/float64(n), 13+209*float64(j)/float64(n-1))
		}
	}
	return out
}

var gap = func(t, s float64) float64 { return -0.18 * t }

func predicted(u, v float64) (float64, float64, bool) {
	return gap((u-117.5)/104.5, 0), 0.006, true
}

func corrected() proof.Case {
	return proof.Case{ZeroU: 117.5, ZeroV: 117.5, Tolerance: 0.03, Corrected: true, Predicted: predicted}
}

// TestJudge: over many prints with a known truth, how often it says what. What is
// wrong is never proved, what is right hardly ever disproved.
func TestJudge(t *testing.T) {
	const prints = 300
	counts := map[string]map[proof.Verdict]float64{}
	for name, c := range map[string]struct {
		dense         bool
		left          func(t, s float64) float64
		proved, wrong [2]float64 // shares that are allowed
		says          string
	}{
		"nothing left":   {false, func(t, s float64) float64 { return 0 }, [2]float64{0.15, 1}, [2]float64{0, 0.02}, ""},
		"nothing, dense": {true, func(t, s float64) float64 { return 0 }, [2]float64{0.8, 1}, [2]float64{0, 0.02}, ""},
		"limit, dense":   {true, func(t, s float64) float64 { return 0.036 * t }, [2]float64{0, 0.05}, [2]float64{0, 0.6}, ""},
		"at the limit":   {false, func(t, s float64) float64 { return 0.036 * t }, [2]float64{0, 0.05}, [2]float64{0, 0.3}, ""},
		"not in force":   {false, gap, [2]float64{0, 0}, [2]float64{1, 1}, "not in force"},
		"twice":          {false, func(t, s float64) float64 { return -gap(t, s) }, [2]float64{0, 0}, [2]float64{1, 1}, "twice"},
		"the wrong way":  {false, func(t, s float64) float64 { return 2 * gap(t, s) }, [2]float64{0, 0}, [2]float64{1, 1}, "wrong way"},
		"another shape":  {false, func(t, s float64) float64 { return 0.1 * t * s }, [2]float64{0, 0}, [2]float64{0.98, 1}, "something has changed"},
		"one high place": {false, func(t, s float64) float64 { return map[bool]float64{true: 0.15}[t > 0.9 && s > 0.9] }, [2]float64{0, 0}, [2]float64{0.9, 1}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(8, 1))
			count := map[proof.Verdict]float64{}
			for range prints {
				r, err := proof.Judge(print(rng, c.dense, c.left), corrected())
				if err != nil {
					t.Fatal(err)
				}
				count[r.Verdict]++
				if r.Verdict == proof.Proved && strings.Contains(r.Sentence, "most is +0.000 ±0.000") {
					t.Fatalf("the zero place, against which all count, is told as the most: %s", r.Sentence)
				}
				if r.Verdict == proof.Disproved && !strings.Contains(r.Next, c.says) {
					t.Fatalf("%s\n%s %v", r.Sentence, r.Next, r.Share)
				}
			}
			t.Log(count)
			counts[name] = count
			if p := count[proof.Proved] / prints; p < c.proved[0] || p > c.proved[1] {
				t.Errorf("proved in %.2f", p)
			}
			if p := count[proof.Disproved] / prints; p < c.wrong[0] || p > c.wrong[1] {
				t.Errorf("disproved in %.2f", p)
			}
		})
	}
	worked, err := os.ReadFile("../../deploy/docs/worked-example.md")
	if err != nil {
		t.Fatal(err)
	}
	said := fmt.Sprintf("21 patches prove it in %.0f of 100 and 73 patches in %.0f of 100", counts["nothing left"][proof.Proved]/prints*100, counts["nothing, dense"][proof.Proved]/prints*100)
	all := min(counts["not in force"][proof.Disproved], counts["twice"][proof.Disproved], counts["the wrong way"][proof.Disproved])
	if text := strings.Join(strings.Fields(string(worked)), " "); !strings.Contains(text, said) || all != prints || !strings.Contains(text, fmt.Sprintf("disproved in all of %d.", prints)) {
		t.Errorf("the worked example does not say: %s; disproved in %.0f", said, all)
	}
}

// TestBare: without a correction the patches agree with the gauging, or do not.
func TestBare(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 2))
	c := corrected()
	c.Corrected = false
	for want, left := range map[proof.Verdict]func(t, s float64) float64{
		proof.Agrees: gap, proof.Contradicts: func(t, s float64) float64 { return 0 },
	} {
		n := 0
		for range 200 {
			r, err := proof.Judge(print(rng, false, left), c)
			if err != nil {
				t.Fatal(err)
			}
			if r.Verdict == want {
				n++
			}
			if r.Share == nil || math.Abs(r.Share.Value-map[proof.Verdict]float64{proof.Agrees: 1}[want]) > 0.2 {
				t.Fatalf("share %v", r.Share)
			}
		}
		if n < 196 {
			t.Errorf("%s: %d of 200", want, n)
		}
	}
}

// TestTooFew: what cannot tell says so, and never gives a verdict.
func TestTooFew(t *testing.T) {
	all := print(rand.New(rand.NewPCG(8, 3)), false, func(t, s float64) float64 { return 0 })
	for name, c := range map[string]struct {
		readings []proof.Reading
		says     string
	}{
		"none":         {nil, "0 patches"},
		"few":          {all[:15], "5 patches"},
		"no zero":      {append([]proof.Reading{}, all[3:30]...), "zero place"},
		"one side":     {side(all), "one side"},
		"one row only": {row(all), ""},
	} {
		r, err := proof.Judge(c.readings, corrected())
		if err != nil || c.says != "" && (r.Verdict != proof.CannotTell || !strings.Contains(r.Sentence, c.says) || r.Next == "") {
			t.Errorf("%s: %v %+v", name, err, r)
		}
	}
	if _, err := proof.Judge([]proof.Reading{{MM: 20}}, corrected()); err == nil {
		t.Error("20 mm was taken")
	}
}

func side(all []proof.Reading) (out []proof.Reading) {
	for _, r := range all {
		if r.U < 120 {
			out = append(out, r)
		}
	}
	return out
}

func row(all []proof.Reading) (out []proof.Reading) {
	for _, r := range all {
		if r.V > 80 && r.V < 120 {
			out = append(out, r)
		}
	}
	return out
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
		"u, v, thickness, remark\n1, 2, 0.3, round\n": {U: 1, V: 2, MM: 0.3},
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
		"patch,thickness\n1,0,2\n2,0.2\n":  "cannot be right",
		"patch;thickness;thickness\n1;;\n": "no thickness",
		"":                                 "empty",
		"a,b\n1,2\n":                       "header",
		"patch,thickness\n1,0.2\n2,\n":     "line 3",
		"patch,thickness\n1,21\n":          "in mm?",
		"patch,thickness\n1.5,0.2\n":       "number of a patch",
		"patch,thickness\n1\n":             "no thickness",
		"patch,thickness\n1,NaN\n":         "line 2",
		"patch,thickness\n1,\"0.2\n":       "read thickness",
		"u,thickness\n1,0.2\n":             "header",
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
