package metrics_test

import (
	"flag"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"abbed/daemon/api"
	"abbed/daemon/metrics"
	"abbed/daemon/status"
)

var update = flag.Bool("update", false, "write the golden file anew")

func ptr[T any](v T) *T { return &v }

func measured(v float64, unit string) *api.Measured { return &api.Measured{Value: v, Unit: unit} }

// busy is a snapshot in which everything is known.
func busy() status.Snapshot {
	at := time.Date(2026, 11, 25, 10, 0, 0, 500e6, time.UTC)
	return status.Snapshot{
		At: at,
		Printer: api.Printer{Link: api.Ready, Homed: true, Levelling: api.Known[bool]{Value: ptr(false), Source: "asked"},
			Temperatures: &api.Temperatures{Nozzle: 24.5, Bed: 59.5, BedTarget: 60}, Owed: []string{"levelling"}},
		Run: &api.Run{State: api.Running, Step: "survey", Progress: api.Progress{Done: 7, Of: 28}},
		Analysis: &api.Analysis{
			Stability: api.Stability{Scatter: measured(0.004, "mm"), FirstTouch: measured(2, "um"), DriftRate: measured(0.0006, "mm/min"),
				PlayX: measured(0.003, "mm"), PlayY: measured(-0.001, "mm"), Wander: measured(0.002, "mm"), Steady: true},
			Share: measured(0.91, "1"), Level: measured(0.041, "mm"),
			Findings: []api.Finding{{ID: "beam-twist"}, {ID: "drift"}, {ID: "drift"}},
		},
		Applied:   api.Applied{State: api.Kept},
		Counters:  status.Counters{Touches: 349, Gaugings: 20, Faults: 1, Resends: 2, Lines: 9001},
		Steps:     map[string]status.Last{"repeat": {At: at, Success: true}, "survey": {At: at.Add(time.Minute)}},
		GapBefore: ptr(0.139), GapAfter: ptr(0.011),
		Build: status.Build{Version: "1.2.3", Commit: "abc", Go: "go1.26"},
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
	for _, absent := range []string{"abbed_steady", "scatter", "temperature", "gap_error", "levelling", "finding", "progress", "step_last"} {
		if strings.Contains(got, absent) {
			t.Errorf("%s is there without being known", absent)
		}
	}
	for _, there := range []string{"abbed_link_up 0", `abbed_link_state{state="connecting"} 1`, `abbed_link_state{state="ready"} 0`, "abbed_run_active 0"} {
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

// The table of doc.go names every metric, and no other.
func TestDocumented(t *testing.T) {
	b := status.New()
	b.Publish(busy())
	doc, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	names := func(text, pattern string) []string {
		var out []string
		for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
			out = append(out, m[1])
		}
		slices.Sort(out)
		return slices.Compact(out)
	}
	said, there := names(string(doc), `(?m)^//\t(abbed_[a-z_]+)`), names(scrape(b), `(?m)^# HELP (abbed_[a-z_]+)`)
	if !slices.Equal(said, there) {
		t.Errorf("doc.go says %q\nthere are    %q", said, there)
	}
}
