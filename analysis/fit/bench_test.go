package fit_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"abbed/analysis/fit"
)

// BenchmarkBeside solves the same least squares problem by Least, by numpy's
// lstsq and by R's lm.fit, in one run on one machine: ms is the median of many
// runs of each, by its own clock, the start of the interpreter not counted. Where
// python3 with numpy or R is absent, that part is skipped with a sentence.
func BenchmarkBeside(b *testing.B) {
	for _, size := range []struct{ n, p, runs int }{{20, 6, 2000}, {175, 32, 500}, {2000, 100, 15}, {5000, 50, 15}} {
		d := drawn(size.n, size.p)
		file := d.write(b)
		name := fmt.Sprintf("%dx%d", size.n, size.p)
		b.Run(name+"/Least", func(b *testing.B) {
			for b.Loop() {
				if _, err := fit.Least(d.x, d.y, nil); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(1000*b.Elapsed().Seconds()/float64(b.N), "ms")
		})
		b.Run(name+"/numpy", func(b *testing.B) {
			theirs(b, fmt.Sprintf(`
import numpy as np, time
a = np.fromfile(%q).reshape(%d, %d); x, y = a[:, 1:].copy(), a[:, 0].copy()
ts = []
for _ in range(%d):
    t = time.perf_counter(); s = np.linalg.lstsq(x, y, rcond=None); ts.append(time.perf_counter() - t)
print("ms", 1000 * np.median(ts)); print("rss", float(((y - x @ s[0]) ** 2).sum()))
`, file, size.n, size.p+1, size.runs), d, "/usr/bin/python3", "-")
		})
		b.Run(name+"/R", func(b *testing.B) {
			theirs(b, fmt.Sprintf(`
a <- matrix(readBin(%q, "double", %d), nrow = %d, byrow = TRUE); x <- a[, -1]; y <- a[, 1]
now <- function() as.numeric(Sys.time()); s <- lm.fit(x, y)
inner <- max(1, round(%d / 15))
ts <- replicate(15, { t <- now(); for (k in 1:inner) s <- lm.fit(x, y); (now() - t) / inner })
cat("ms", 1000 * median(ts), "\n"); cat("rss", sprintf("%%.17g", sum(s$residuals^2)), "\n")
`, file, size.n*(size.p+1), size.n, size.runs), d, "R", "--vanilla", "--no-echo", "--quiet")
		})
	}
}

// write puts y and x, row by row, into a file of doubles.
func (d data) write(b *testing.B) string {
	var raw []byte
	for i, row := range d.x {
		for _, v := range append([]float64{d.y[i]}, row...) {
			raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
		}
	}
	name := filepath.Join(b.TempDir(), "xy")
	if err := os.WriteFile(name, raw, 0o600); err != nil {
		b.Fatal(err)
	}
	return name
}

// theirs runs a script that times itself, and holds its sum of squares to ours.
func theirs(b *testing.B, script string, d data, program string, args ...string) {
	if _, err := exec.LookPath(program); err != nil {
		b.Skipf("%s is not here: %v", program, err)
	}
	cmd := exec.Command(program, args...)
	cmd.Stdin = strings.NewReader(script)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		b.Skipf("%s could not run the script: %v: %s", program, err, stderr.String())
	}
	got := map[string]float64{}
	for _, l := range strings.Split(string(out), "\n") {
		if f := strings.Fields(l); len(f) == 2 {
			got[f[0]], _ = strconv.ParseFloat(f[1], 64)
		}
	}
	r, err := fit.Least(d.x, d.y, nil)
	if err != nil || math.Abs(got["rss"]-r.RSS) > 1e-9*r.RSS {
		b.Fatalf("%s leaves a sum of squares of %.15g, ours is %.15g (%v)", program, got["rss"], r.RSS, err)
	}
	b.ReportMetric(got["ms"], "ms")
	b.ReportMetric(0, "ns/op")
}
