package compare_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"

	"abbed/analysis/compare"
	"abbed/analysis/result"
)

// GUM H.1, the end gauge (JCGM 100:2008, table H.1 and H.1.6, from memory): its
// contributions with their degrees of freedom give u_c = 32 nm and 16 effective
// ones by eq. G.2b, rounded as it prints them. Two at a time, as a difference adds
// them, gives what all at once do.
func TestWelch(t *testing.T) {
	us := []result.Measured{{U: 25.0, DoF: 18}, {U: 5.8, DoF: 24}, {U: 3.9, DoF: 5}, {U: 6.7, DoF: 8}, {U: 2.9, DoF: 50}, {U: 16.6, DoF: 2}}
	sum, w := 0.0, 0.0
	for _, m := range us {
		sum += m.U * m.U
		w += math.Pow(m.U, 4) / m.DoF
	}
	want := sum * sum / w
	got := us[0]
	for _, m := range us[1:] {
		got = compare.Difference(got, m)
	}
	if math.Abs(got.U-math.Sqrt(sum)) > 1e-9 || math.Abs(got.DoF/want-1) > 1e-9 {
		t.Errorf("u %.4f, dof %.4f; want %.4f, %.4f", got.U, got.DoF, math.Sqrt(sum), want)
	}
	if math.Abs(got.U-31.7) > 0.6 || math.Abs(got.DoF-16) > 1 {
		t.Errorf("u %.2f, dof %.2f; the standard rounds to 32 and 16", got.U, got.DoF)
	}
	if d := compare.Difference(result.Measured{U: 1, DoF: math.Inf(1)}, result.Measured{U: 1, DoF: math.Inf(1)}); !math.IsInf(d.DoF, 1) {
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
	d := compare.Difference(a, b)
	ratio := compare.Rescaled(sdOf(x), sdOf(y))
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

func meanOf(v []float64) result.Measured {
	m, s := spreadOf(v)
	return result.Measured{Value: m, U: s / math.Sqrt(float64(len(v))), DoF: float64(len(v) - 1)}
}

func sdOf(v []float64) result.Measured {
	_, s := spreadOf(v)
	return result.Measured{Value: s, DoF: float64(len(v) - 1)}
}
