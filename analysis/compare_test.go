package analysis_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

func judgedOf(m machine, p plan, seed uint64) analysis.Judged {
	run := simulate(m, p, seed)
	run.ID = fmt.Sprintf("run-%d", seed)
	return analysis.Judged{Run: run, Verdict: analysis.Judge(run)}
}

func evenly(degPerMetre float64) machine {
	m := good()
	m.gap = func(u, _ float64) float64 { return -m.lever.Y * degPerMetre * math.Pi / 180 / 1000 * u }
	return m
}

// What changed between two runs of a machine of known truth: the interval of the
// change of twist holds the truth in 95 % (40 pairs: 34 or fewer come once in 65 by
// chance, binomial law; seeds are fixed), a twist that stayed is seldom called
// moved, and one that moved by 1 deg per m (35 um from the middle to the edge at
// 45 mm of lever) is called so every time.
func TestCompare(t *testing.T) {
	for name, c := range map[string]struct {
		before, after float64 // deg per m
		moved         func(n int) bool
	}{
		"the same": {1, 1, func(n int) bool { return n <= 3 }}, "repaired": {1.2, 0.2, func(n int) bool { return n == 40 }},
		"worse": {0, 1, func(n int) bool { return n == 40 }},
	} {
		t.Run(name, func(t *testing.T) {
			inside, beyond, most := 0, 0, 0
			for seed := range uint64(40) {
				x, why := analysis.Compare(judgedOf(evenly(c.before), standard(), 2*seed), judgedOf(evenly(c.after), standard(), 2*seed+1))
				if why != nil {
					t.Fatal(why)
				}
				twist := x.Of("twist")
				if twist == nil {
					t.Fatalf("no twist: %v", x.Not)
				}
				want := (c.after - c.before) * math.Pi / 180 / 1000
				if twist.By.Lo95 <= want && want <= twist.By.Hi95 {
					inside++
				}
				if twist.Beyond {
					beyond++
				}
				if x.Most != nil {
					most++
				}
				if seed == 0 {
					t.Log(x.Sentence, x.Not, x.Gone, x.Stay, x.Come)
				}
			}
			t.Logf("%d of 40 intervals hold the truth; twist moved in %d, the gap error in %d", inside, beyond, most)
			if inside < 35 || !c.moved(beyond) || !c.moved(most) {
				t.Errorf("inside %d, beyond %d, most %d", inside, beyond, most)
			}
		})
	}
}

// What cannot be compared is said, and not compared.
func TestNotComparable(t *testing.T) {
	was := judgedOf(evenly(1), standard(), 1)
	other := judgedOf(evenly(1), standard(), 2)
	other.Run.Setup.Printer.ID = "another"
	if _, why := analysis.Compare(was, other); why == nil || why.Code != "not-comparable" {
		t.Errorf("two printers: %v", why)
	}
	short := evenly(1)
	short.lever = record.Lever{Y: 22.5}
	short.gap = func(u, _ float64) float64 { return -22.5 * math.Pi / 180 / 1000 * u }
	c, why := analysis.Compare(was, judgedOf(short, standard(), 3))
	if why != nil || c.Of("twist") == nil || c.Of("twist").Beyond || len(c.Places) != 0 || !strings.Contains(strings.Join(c.Not, " "), "lever") {
		t.Errorf("another lever along Y: the twist compares, the gap error does not: %+v, %v", c, why)
	}
	across := good()
	across.lever = record.Lever{X: 40}
	if c, _ := analysis.Compare(was, judgedOf(across, standard(), 3)); c.Of("twist") != nil || c.Of("pitch") != nil {
		t.Error("twist and pitch were compared")
	}
	p := standard()
	p.places = nil
	if c, _ := analysis.Compare(was, judgedOf(evenly(1), p, 4)); len(c.Places) != 0 || c.LargestAfter != nil || c.Of("level") != nil || c.Of("scatter") == nil {
		t.Errorf("a run without gauging: %+v", c)
	}
	if c, why := analysis.Compare(analysis.Judged{}, analysis.Judged{}); why != nil || len(c.Changes) != 0 || c.Sentence == "" {
		t.Errorf("two empty runs: %+v, %v", c, why)
	}
}

// Cold against hot: the difference in K, and what expansion alone would make: a
// steel rail on an aluminium beam, 300 mm, 10 K: 0.035 mm difference in length
// (vendors' tables; design/4), within the interval of steel's 11 to 13e-6.
func TestColdHot(t *testing.T) {
	h := analysis.HeatChange{BedBy: 10, Apart: true}
	h.Expand(0.3, 300)
	if !(h.RailLeast < 0.035 && 0.035 < h.RailMost) || math.Abs(h.Even-0.3*23.4e-6*10) > 1e-12 {
		t.Errorf("%+v", h)
	}
	cold, hot := judgedOf(evenly(1), standard(), 1), judgedOf(evenly(1), standard(), 2)
	cold.Run.Warmth = []record.Warmth{{Step: record.StepRepeat, Bed: 90}, {Step: record.StepGauging, Nozzle: 22, Bed: 21}}
	hot.Run.Warmth = []record.Warmth{{Step: record.StepGauging, Nozzle: 150, NozzleTarget: 150, Bed: 60.5, BedTarget: 60}}
	c, why := analysis.Compare(cold, hot)
	if why != nil || c.Heat == nil || !c.Heat.Apart || c.Heat.BedBy != 39.5 || c.Heat.NozzleBy != 128 || c.Heat.BedTargetAfter != 60 || !strings.Contains(c.Heat.Text, "+40 K") {
		t.Errorf("%+v, %v", c.Heat, why)
	}
	if c.Heat.RailMost <= 0 {
		t.Errorf("nothing said of expansion: %+v", c.Heat)
	}
	hot.Run.Warmth = nil
	if c, _ := analysis.Compare(cold, hot); c.Heat != nil || !strings.Contains(strings.Join(c.Not, " "), "temperatures") {
		t.Errorf("a run that does not know its own: %+v", c.Heat)
	}
}

// GUM H.1, the end gauge (JCGM 100:2008, table H.1 and H.1.6, from memory): its
// contributions with their degrees of freedom give u_c = 32 nm and 16 effective
// ones by eq. G.2b, rounded as it prints them. Two at a time, as a difference adds
// them, gives what all at once do.
func TestWelch(t *testing.T) {
	us := []analysis.Measured{{U: 25.0, DoF: 18}, {U: 5.8, DoF: 24}, {U: 3.9, DoF: 5}, {U: 6.7, DoF: 8}, {U: 2.9, DoF: 50}, {U: 16.6, DoF: 2}}
	sum, w := 0.0, 0.0
	for _, m := range us {
		sum += m.U * m.U
		w += math.Pow(m.U, 4) / m.DoF
	}
	want := sum * sum / w
	got := us[0]
	for _, m := range us[1:] {
		got = analysis.Difference(got, m)
	}
	if math.Abs(got.U-math.Sqrt(sum)) > 1e-9 || math.Abs(got.DoF/want-1) > 1e-9 {
		t.Errorf("u %.4f, dof %.4f; want %.4f, %.4f", got.U, got.DoF, math.Sqrt(sum), want)
	}
	if math.Abs(got.U-31.7) > 0.6 || math.Abs(got.DoF-16) > 1 {
		t.Errorf("u %.2f, dof %.2f; the standard rounds to 32 and 16", got.U, got.DoF)
	}
	if d := analysis.Difference(analysis.Measured{U: 1, DoF: math.Inf(1)}, analysis.Measured{U: 1, DoF: math.Inf(1)}); !math.IsInf(d.DoF, 1) {
		t.Errorf("two that are known: dof %g", d.DoF)
	}
}

// The same as R's t.test (Welch) and var.test, live.
func TestWelchByR(t *testing.T) {
	if _, err := exec.LookPath("Rscript"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("Rscript is needed in CI (Debian: r-base-core)")
		}
		t.Skip("no Rscript here: Debian's r-base-core has it")
	}
	x := []float64{0.012, 0.017, 0.009, 0.015, 0.011, 0.020, 0.013}
	y := []float64{0.031, 0.024, 0.045, 0.029, 0.038}
	cmd := exec.Command("Rscript", "-")
	cmd.Stdin = strings.NewReader(`x <- c(0.012, 0.017, 0.009, 0.015, 0.011, 0.020, 0.013); y <- c(0.031, 0.024, 0.045, 0.029, 0.038)
r <- t.test(y, x); v <- var.test(y, x)
cat(sprintf("%.15g", c(r$conf.int, r$parameter, sqrt(v$conf.int), sqrt(v$estimate))), "\n")`)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var r [6]float64
	if _, err := fmt.Fscan(bytes.NewReader(out), &r[0], &r[1], &r[2], &r[3], &r[4], &r[5]); err != nil {
		t.Fatal(err)
	}
	a, b := meanOf(x), meanOf(y)
	d := analysis.Difference(a, b)
	ratio := analysis.Rescaled(sdOf(x), sdOf(y))
	for i, got := range []float64{d.Lo95, d.Hi95, d.DoF, ratio.By.Lo95, ratio.By.Hi95, ratio.By.Value} {
		if math.Abs(got/r[i]-1) > 1e-9 {
			t.Errorf("%d: %.15g, R %.15g", i, got, r[i])
		}
	}
}

func spreadOf(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean) / float64(len(v)-1)
	}
	return mean, math.Sqrt(sd)
}

func meanOf(v []float64) analysis.Measured {
	m, s := spreadOf(v)
	return analysis.Measured{Value: m, U: s / math.Sqrt(float64(len(v))), DoF: float64(len(v) - 1)}
}

func sdOf(v []float64) analysis.Measured {
	_, s := spreadOf(v)
	return analysis.Measured{Value: s, DoF: float64(len(v) - 1)}
}
