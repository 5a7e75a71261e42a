package fit_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"abbed/analysis/fit"
)

// data are the same numbers for us and for the others.
type data struct {
	x    [][]float64 // with a column of ones
	y, w []float64
}

func drawn(n, p int) data {
	r := rand.New(rand.NewPCG(11, 4))
	var d data
	for range n {
		row := []float64{1}
		for range p - 1 {
			row = append(row, 3*r.NormFloat64()+5)
		}
		y := 2.0
		for k, v := range row {
			y += float64(k) * v
		}
		y += r.NormFloat64()
		if r.Float64() < 0.08 {
			y += 15
		}
		d.x, d.y, d.w = append(d.x, row), append(d.y, y), append(d.w, 0.5+r.Float64())
	}
	return d
}

// vector writes numbers with all their digits, within the brackets.
func vector(open string, v []float64) string {
	s := make([]string, len(v))
	for i, x := range v {
		s[i] = strconv.FormatFloat(x, 'g', 17, 64)
	}
	closing := map[string]string{"c(": ")", "[": "]"}[open]
	return open + strings.Join(s, ", ") + closing
}

func (d data) column(k int) []float64 {
	out := make([]float64, len(d.x))
	for i := range d.x {
		out[i] = d.x[i][k]
	}
	return out
}

// outside runs a program and reads numbers by name: `name value value ...`.
// Where the program or its library is absent the test is skipped, but in CI it
// fails (Debian: r-base-core, r-cran-mass, python3-scipy, python3-statsmodels).
func outside(t *testing.T, script string, program string, args ...string) map[string][]float64 {
	t.Helper()
	absent := func(why string) {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is needed: %s", program, why)
		}
		t.Skipf("%s: %s", program, why)
	}
	if _, err := exec.LookPath(program); err != nil {
		absent(err.Error())
	}
	cmd := exec.Command(program, args...)
	cmd.Stdin = strings.NewReader(script)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if strings.Contains(stderr.String(), "No module named") || strings.Contains(stderr.String(), "there is no package") {
		absent(stderr.String())
	}
	if err != nil {
		t.Fatalf("%s: %v\n%s", program, err, stderr.String())
	}
	got := map[string][]float64{}
	for _, l := range strings.Split(string(out), "\n") {
		f := strings.Fields(l)
		if len(f) < 2 {
			continue
		}
		for _, s := range f[1:] {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatalf("%s wrote %q", program, l)
			}
			got[f[0]] = append(got[f[0]], v)
		}
	}
	return got
}

// alike compares relative to the size of what was expected.
func alike(t *testing.T, name string, got, want []float64, tolerance float64) {
	t.Helper()
	if len(got) == 0 || len(got) != len(want) {
		t.Errorf("%s: %d values, theirs %d", name, len(got), len(want))
		return
	}
	for i := range got {
		if math.Abs(got[i]-want[i]) > tolerance*math.Max(math.Abs(want[i]), 1e-6) {
			t.Errorf("%s[%d] = %.15g, theirs %.15g", name, i, got[i], want[i])
		}
	}
}

// The same fits by R's lm, anova and MASS::rlm.
func TestLiveR(t *testing.T) {
	d := drawn(60, 4)
	script := fmt.Sprintf(`
y <- %s; w <- %s; a <- %s; b <- %s; c3 <- %s
say <- function(name, v) cat(name, sprintf("%%.17g", as.numeric(v)), "\n")
m <- lm(y ~ a + b + c3, weights = w); s <- summary(m)
say("coef", coef(m)); say("u", s$coefficients[, 2]); say("sigma", s$sigma);
small <- lm(y ~ a, weights = w); v <- anova(small, m)
say("F", v[["F"]][2]); say("p", v[["Pr(>F)"]][2])
suppressMessages(library(MASS))
h <- rlm(y ~ a + b + c3, psi = psi.huber, k = 1.345, scale.est = "MAD", maxit = 500, acc = 1e-12)
say("huber", coef(h))
say("t95", qt(0.975, c(3, 7, 20)))
`, vector("c(", d.y), vector("c(", d.w), vector("c(", d.column(1)), vector("c(", d.column(2)), vector("c(", d.column(3)))
	want := outside(t, script, "R", "--vanilla", "--no-echo", "--quiet")
	r, err := fit.Least(d.x, d.y, d.w)
	if err != nil {
		t.Fatal(err)
	}
	var u []float64
	for i := range r.Coef {
		u = append(u, r.U(i, r.S()))
	}
	alike(t, "lm coef", r.Coef, want["coef"], 1e-9)
	alike(t, "lm standard errors", u, want["u"], 1e-9)
	alike(t, "lm sigma", []float64{r.S()}, want["sigma"], 1e-9)
	var few [][]float64
	for _, row := range d.x {
		few = append(few, row[:2])
	}
	small, err := fit.Least(few, d.y, d.w)
	if err != nil {
		t.Fatal(err)
	}
	f := (small.RSS - r.RSS) / 2 / (r.RSS / r.DoF)
	alike(t, "anova F", []float64{f}, want["F"], 1e-9)
	alike(t, "anova p", []float64{fit.FTail(f, 2, r.DoF)}, want["p"], 1e-9)
	h, _, err := fit.Huber(d.x, d.y)
	if err != nil {
		t.Fatal(err)
	}
	alike(t, "rlm", h.Coef, want["huber"], 1e-4)
	alike(t, "t95", []float64{fit.T95(3), fit.T95(7), fit.T95(20)}, want["t95"], 1e-9)
}

// The same by SciPy (linregress, theilslopes) and statsmodels (WLS,
// RLM).
func TestLiveSciPy(t *testing.T) {
	d := drawn(60, 4)
	x := d.column(1)
	script := fmt.Sprintf(`
import numpy as np, scipy.stats as st, statsmodels.api as sm
y = np.array(%s); w = np.array(%s); a = np.array(%s); b = np.array(%s); c = np.array(%s)
say = lambda name, v: print(name, *("%%.17g" %% q for q in np.atleast_1d(v)))
l = st.linregress(a, y); say("line", [l.intercept, l.slope]); say("lineu", [l.intercept_stderr, l.stderr])
s = st.theilslopes(y, a, 0.95); say("sen", s[0])
X = np.column_stack([np.ones_like(a), a, b, c])
m = sm.WLS(y, X, weights=w).fit(); say("wls", m.params); say("wlsu", m.bse)
r = sm.RLM(y, X, M=sm.robust.norms.HuberT(1.345)).fit(maxiter=500, tol=1e-12); say("rlm", r.params)
`, vector("[", d.y), vector("[", d.w), vector("[", x), vector("[", d.column(2)), vector("[", d.column(3)))
	want := outside(t, script, "/usr/bin/python3", "-")
	var line [][]float64
	for _, v := range x {
		line = append(line, []float64{1, v})
	}
	l, err := fit.Least(line, d.y, nil)
	if err != nil {
		t.Fatal(err)
	}
	alike(t, "linregress", l.Coef, want["line"], 1e-9)
	alike(t, "linregress standard errors", []float64{l.U(0, l.S()), l.U(1, l.S())}, want["lineu"], 1e-9)
	k, _ := fit.TheilSen(x, d.y)
	alike(t, "theilslopes", []float64{k}, want["sen"], 1e-9)
	r, err := fit.Least(d.x, d.y, d.w)
	if err != nil {
		t.Fatal(err)
	}
	var u []float64
	for i := range r.Coef {
		u = append(u, r.U(i, r.S()))
	}
	alike(t, "WLS", r.Coef, want["wls"], 1e-9)
	alike(t, "WLS standard errors", u, want["wlsu"], 1e-9)
	h, _, err := fit.Huber(d.x, d.y)
	if err != nil {
		t.Fatal(err)
	}
	alike(t, "RLM", h.Coef, want["rlm"], 1e-4)
}

// R's volcano (87 x 61 heights of a real hill, from its own package datasets) as
// a large grid: the plane by lm on the same numbers to 1e-9, the figures that were
// computed once (mean 130.187865, plane 152.391539038 - 0.401115583511 i -
// 0.146922202569 j, s 23.6503245115) beside them; Huber's fit by rlm.
func TestLiveVolcano(t *testing.T) {
	want := outside(t, `
say <- function(name, v) cat(name, sprintf("%.17g", as.numeric(v)), "\n")
say("z", t(volcano)); i <- as.vector(row(volcano)); j <- as.vector(col(volcano)); z <- as.vector(volcano)
m <- lm(z ~ i + j); s <- summary(m); say("plane", coef(m)); say("u", s$coefficients[, 2]); say("s", s$sigma)
suppressMessages(library(MASS))
say("huber", coef(rlm(z ~ i + j, psi = psi.huber, k = 1.345, scale.est = "MAD", maxit = 500, acc = 1e-12)))
`, "R", "--vanilla", "--no-echo", "--quiet")
	const rows, cols = 87, 61
	if len(want["z"]) != rows*cols {
		t.Fatalf("%d heights", len(want["z"]))
	}
	var x [][]float64
	for i := range rows {
		for j := range cols {
			x = append(x, []float64{1, float64(i + 1), float64(j + 1)})
		}
	}
	mean, _ := fit.MeanSD(want["z"])
	near(t, "mean", mean, 130.187865083852, 1e-12)
	r := must(t, x, want["z"], nil)
	alike(t, "plane", r.Coef, want["plane"], 1e-9)
	alike(t, "plane as computed before", r.Coef, []float64{152.391539038, -0.401115583511, -0.146922202569}, 1e-9)
	alike(t, "standard errors", []float64{r.U(0, r.S()), r.U(1, r.S()), r.U(2, r.S())}, want["u"], 1e-9)
	alike(t, "s", []float64{r.S(), r.S()}, []float64{want["s"][0], 23.6503245115}, 1e-9)
	h, _, err := fit.Huber(x, want["z"])
	if err != nil {
		t.Fatal(err)
	}
	alike(t, "rlm", h.Coef, want["huber"], 1e-4)
}
