package metrics_test

import (
	"flag"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/daemon/api"
	"abbed/daemon/metrics"
	"abbed/daemon/status"
)

var update = flag.Bool("update", false, "write the golden file anew")

func ptr[T any](v T) *T { return &v }

func measured(v float64, unit string) *api.Measured {
	return &api.Measured{Value: v, Lo95: 0.8 * v, Hi95: 1.2 * v, Unit: unit}
}

func rate(v float64) *analysis.Measured {
	return &analysis.Measured{Value: v, Lo95: v - 2e-6, Hi95: v + 2e-6, Unit: "rad/mm"}
}

// busy is a snapshot in which everything is known.
func busy() status.Snapshot {
	at := time.Date(2026, 11, 25, 10, 0, 0, 500e6, time.UTC)
	steady := api.Stability{Scatter: measured(0.004, "mm"), FirstTouch: measured(2, "um"), DriftRate: measured(0.0006, "mm/min"),
		PlayX: measured(0.003, "mm"), PlayY: measured(-0.001, "mm"), Wander: measured(0.002, "mm"), Steady: true}
	found := api.Analysis{Stability: steady, Share: measured(0.91, "1"), Level: measured(0.041, "mm"),
		Findings: []api.Finding{{ID: "beam-twist"}, {ID: "drift"}, {ID: "drift"}}}
	digest := "d1"
	return status.Snapshot{
		At: at,
		Printer: api.Printer{Link: api.Ready, Homed: true, Levelling: api.Known[bool]{Value: ptr(false), Source: "asked"},
			Temperatures: &api.Temperatures{Nozzle: 24.5, Bed: 59.5, BedTarget: 60}, Owed: []string{"levelling"}, Todo: []api.Todo{{ID: status.TodoOwed}}},
		Run:      &api.Run{State: api.Running, Step: "survey", Progress: api.Progress{Done: 7, Of: 28}},
		Analysis: &found, Steady: &steady, Gauged: &found,
		Tilt:        analysis.Rates{Twist: rate(5.2e-5), Pitch: rate(-1e-5)},
		TiltApplied: analysis.Rates{Twist: rate(4e-5), Pitch: rate(-2e-5)},
		Moved: map[string]status.Moved{
			status.SinceRun:        {Twist: &compare.Change{By: *rate(1e-6)}},
			status.SinceCorrection: {Twist: &compare.Change{By: *rate(1.2e-5), Beyond: true}, Pitch: &compare.Change{By: *rate(1e-6)}},
		},
		Applied: api.Applied{State: api.Kept, Digest: &digest}, AppliedAt: at.Add(-time.Hour), Expiry: status.ExpiredTwist,
		Counters:  status.Counters{Touches: 349, Gaugings: 20, Faults: 1, Resends: 2, Lines: 9001, Busy: 1200.5, Waited: 3.25},
		HostShare: ptr(0.0027), PortHeld: true,
		Kept:           status.Kept{Bytes: 4 << 20, Limit: 500 << 20, Free: 3 << 30, Due: 1, Dropped: 2},
		Steps:          map[string]status.Last{"repeat": {At: at, Success: true}, "survey": {At: at.Add(time.Minute)}},
		ReapplyRefused: map[string]uint64{"map-changed": 2},
		GapBefore:      &status.Bound{Value: 0.139, Half: 0.012}, GapAfter: &status.Bound{Value: 0.011, Half: 0.013},
		Limits: status.Limits{Tolerance: 0.03, Scatter: 0.015, Play: 0.02, Wander: 0.02, DriftRate: 0.01},
		Check:  status.Check{Due: at.Add(24 * time.Hour)},
		Build:  status.Build{Version: "1.2.3", Commit: "abc", Go: "go1.26"},
	}
}

func scrape(b *status.Board) string {
	w := httptest.NewRecorder()
	metrics.New(b).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	return w.Body.String()
}

func TestGolden(t *testing.T) {
	b := status.New()
	b.Publish(busy())
	got := scrape(b)
	if *update {
		if err := os.WriteFile("testdata/metrics.txt", []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("testdata/metrics.txt")
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the output changed; if that was meant, run with -update\n%s", got)
	}
}

// The rules of Prometheus for names, units and help (its own linter).
func TestLint(t *testing.T) {
	b := status.New()
	b.Publish(busy())
	problems, err := testutil.GatherAndLint(metrics.Registry(b))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// What is not known is absent, and nothing is said before the first snapshot.
func TestUnknown(t *testing.T) {
	b := status.New()
	if got := scrape(b); got != "" {
		t.Errorf("before the first snapshot: %q", got)
	}
	b.Publish(status.Snapshot{At: time.Unix(1, 0), Printer: api.Printer{Link: api.Connecting}})
	got := scrape(b)
	for _, absent := range []string{"abbed_steady", "probe_scatter", "temperature", "abbed_correction_timestamp", "abbed_twist", "gap_error", "levelling", "abbed_finding", "progress", "step_last"} {
		if strings.Contains(got, absent) {
			t.Errorf("%s is there without being known", absent)
		}
	}
	for _, there := range []string{"abbed_up 0", `abbed_link_state{state="connecting"} 1`, `abbed_link_state{state="ready"} 0`, "abbed_run_active 0"} {
		if !strings.Contains(got, there+"\n") {
			t.Errorf("%s is missing", there)
		}
	}
}

// A step that fails after it went well falls to 0.
func TestSuccessFalls(t *testing.T) {
	b := status.New()
	s := busy()
	b.Publish(s)
	if !strings.Contains(scrape(b), `abbed_step_last_success{step="repeat"} 1`) {
		t.Fatal("no success")
	}
	s.Steps = map[string]status.Last{"repeat": {At: s.At.Add(time.Hour)}}
	b.Publish(s)
	if got := scrape(b); !strings.Contains(got, `abbed_step_last_success{step="repeat"} 0`) {
		t.Errorf("it did not fall:\n%s", got)
	}
}
