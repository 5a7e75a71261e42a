package e2e_test

import (
	"encoding/json"
	"math"
	"testing"
	"testing/synctest"

	"gonum.org/v1/gonum/stat"

	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestFinerHeights: a machine that probes straight and reports to 0.01 mm is
// asked for its motor steps (1/400 mm here), which bring the heights nearer to
// those of the same machine when it reports to 0.001 mm; a printer with a touch
// word is not, since its head has left the contact before it answers. What
// rounding alone costs is a/sqrt(12): 2.9 um for 10, 0.7 um for 2.5.
func TestFinerHeights(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, scenario string
		step           float64 // mm
		least, most    float64 // standard deviation against the finer report, um
	}{
		{"bracketed", "straight-probe", 0.0025, 0, 1.2},
		{"silent", "straight-probe-silent", 0.0025, 0, 1.2},
		{"touch word", "coarse-reports", 0.01, 2.2, 3.6},
	} {
		t.Run(c.name, func(t *testing.T) {
			fine, coarse := heights(t, c.scenario, 3), heights(t, c.scenario, 2)
			var off []float64
			for i, touch := range coarse {
				if math.Abs(touch.Step-c.step) > 0.2*c.step {
					t.Fatalf("%+v has a step of %.4f mm, want %.4f", touch, touch.Step, c.step)
				}
				off = append(off, 1000*(touch.Z-fine[i].Z))
			}
			if s := stat.StdDev(off, nil); s < c.least || s > c.most {
				t.Errorf("%.2f um off the finer report, want %.1f to %.1f", s, c.least, c.most)
			} else {
				t.Logf("%d touches: %.2f um off the finer report", len(off), s)
			}
		})
	}
}

// heights are the touches of a repeat test on a printer that reports with so
// many decimals.
func heights(t *testing.T, scenario string, decimals int) (touches []record.Touch) {
	t.Helper()
	sc, err := bench.Lookup(scenario)
	if err != nil {
		t.Fatal(err)
	}
	sc.Decimals = decimals
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 4})})
		defer w.close()
		run := confirmed(t, w, "repeat")
		if run.State != api.Done {
			t.Fatalf("%s: %+v", run.State, run.Error)
		}
		b, err := w.api.Record(t.Context(), run.ID)
		if err != nil {
			t.Fatal(err)
		}
		var kept record.Run
		if err := json.Unmarshal(b, &kept); err != nil || len(kept.Touches) < 50 {
			t.Fatalf("%d touches, %v", len(kept.Touches), err)
		}
		touches = kept.Touches
		safe(t, w)
	})
	return touches
}
