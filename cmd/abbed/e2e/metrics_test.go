package e2e_test

import (
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// scraped reads the metrics: the value of each series by its name with labels.
func scraped(t *testing.T, w *world) map[string]float64 {
	t.Helper()
	c := http.Client{Transport: w.transport.(http.RoundTripper)}
	defer c.CloseIdleConnections()
	r, err := c.Get(w.house.URL() + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != 200 {
		t.Fatal(r.Status, err)
	}
	out := map[string]float64{}
	for line := range strings.Lines(string(b)) {
		name, value, ok := strings.Cut(strings.TrimSpace(line), " ")
		if v, err := strconv.ParseFloat(value, 64); ok && err == nil && !strings.HasPrefix(line, "#") {
			out[name] = v
		}
	}
	return out
}

// TestMetricsOutlive: what was found and applied is shown, stays over a restart
// of the program and a look at an older run, and the expiry shows when the head
// tilts otherwise.
func TestMetricsOutlive(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	straight := sc
	straight.Roll = nil
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 2, Wording: 1})
		w := open(t, dir, sc, &cable{printer: printer})
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		empty := scraped(t, w)["abbed_store_bytes"]
		applyWhole(t, w, p)
		time.Sleep(20 * time.Second) // of the bubble: the size is looked at every 15 s
		first := scraped(t, w)
		if now := first["abbed_store_bytes"]; now <= empty {
			t.Errorf("the store has %g bytes after a run, %g before", now, empty)
		}
		for name, in := range map[string][2]float64{
			"abbed_up": {1, 1}, "abbed_port_held": {1, 1}, `abbed_step_last_success{step="survey"}`: {1, 1}, `abbed_step_last_success{step="apply"}`: {1, 1},
			`abbed_correction_state{state="kept"}`: {1, 1}, `abbed_to_do{id="expired-twist"}`: {0, 0}, `abbed_finding{id="beam-twist"}`: {1, 1},
			`abbed_gap_error_largest_meters{when="before"}`: {50e-6, 1e-3}, `abbed_gap_error_largest_meters{when="after"}`: {0, 5e-6},
			`abbed_gap_error_largest_half_width_meters{when="after"}`: {1e-6, 50e-6},
			"abbed_twist_half_width_radians_per_meter":                {1e-5, 5e-3}, "abbed_probe_scatter_meters": {1e-6, 15e-6},
			"abbed_host_share_ratio": {0, 1}, "abbed_touches_total": {100, 1e4}, "abbed_state_free_bytes": {1, math.Inf(1)},
		} {
			if v, ok := first[name]; !ok || v < in[0] || v > in[1] {
				t.Errorf("%s is %g (there: %t), want %g..%g", name, v, ok, in[0], in[1])
			}
		}
		at := first["abbed_correction_timestamp_seconds"]
		if d := float64(time.Now().UnixMilli())/1e3 - at; d < 0 || d > 3600 {
			t.Errorf("written %g s ago", d)
		}
		w.close()

		w = open(t, dir, sc, &cable{printer: printer})
		ready(t, w)
		wait(t)
		again := scraped(t, w)
		same := func(got map[string]float64) {
			t.Helper()
			for name, v := range first {
				kept := false
				for _, what := range []string{"twist", "gap_error", "probe_", "finding", "correction_", "step_last", "steady"} {
					kept = kept || strings.HasPrefix(name, "abbed_"+what)
				}
				for _, own := range []string{`"apply"`} { // the journal's own state says it
					kept = kept && !strings.Contains(name, own)
				}
				if kept && math.Abs(got[name]-v) > 1.5 && strings.Contains(name, "timestamp") || kept && !strings.Contains(name, "timestamp") && got[name] != v {
					t.Errorf("%s was %g, is %g", name, v, got[name])
				}
			}
		}
		same(again)

		// The head tilts otherwise now.
		w.wire.pull(true)
		printer = bench.New(straight, bench.Options{Seed: 77, Wording: 1})
		w.wire.printer, p.Feel, p.API = printer, printer.Blade, w.api
		w.wire.pull(false)
		wait(t)
		ready(t, w)
		runs, err := w.api.Runs(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if run, err := p.Measure(t.Context(), "repeat", "gauging", "survey"); err != nil || run.State != api.Done {
			t.Fatalf("%s, %v", run.State, err)
		}
		if _, err := w.api.Analysis(t.Context(), runs[0].ID); err != nil { // a look at the older run
			t.Fatal(err)
		}
		now := scraped(t, w)
		moved := math.Abs(now["abbed_twist_radians_per_meter"] - now["abbed_correction_twist_radians_per_meter"])
		doubt := math.Hypot(now["abbed_twist_half_width_radians_per_meter"], now["abbed_correction_twist_half_width_radians_per_meter"])
		if now[`abbed_to_do{id="expired-twist"}`] != 1 && now[`abbed_to_do{id="expired-map"}`] != 1 {
			t.Error("not expired")
		}
		t.Logf("the twist moved by %.5f, its doubt is %.5f rad/m", moved, doubt)
		if now["abbed_correction_timestamp_seconds"] != again["abbed_correction_timestamp_seconds"] {
			t.Error("the expiry is taken for the time of writing")
		}
		if now["abbed_correction_twist_radians_per_meter"] != first["abbed_correction_twist_radians_per_meter"] {
			t.Error("the twist that the correction was made from is another")
		}
		w.close()
	})
}
