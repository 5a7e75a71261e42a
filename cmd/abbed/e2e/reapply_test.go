package e2e_test

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// reapplying is a house with a correction in force.
type reapplying struct {
	t       *testing.T
	w       *world
	printer *bench.Printer
	before  [][]float64
}

// nodes writes the printer's map anew, as it does when it measures at a print
// start: the old nodes moved by mm.
func (r reapplying) nodes(mm float64) {
	for j, row := range r.before {
		for i, z := range row {
			behind(r.t, r.printer, fmt.Sprintf("M421 I%d J%d Z%.3f", i, j, z+mm))
		}
	}
}

// edit has somebody change a node of the map by mm.
func (r reapplying) edit(i, j int, mm float64) {
	behind(r.t, r.printer, fmt.Sprintf("M421 I%d J%d Z%.3f", i, j, r.printer.Nodes()[j][i]+mm))
}

// row has the printer measure one row anew, mm more or less from node to node.
func (r reapplying) row(j int, mm float64) {
	for i, z := range r.before[j] {
		behind(r.t, r.printer, fmt.Sprintf("M421 I%d J%d Z%.3f", i, j, z+mm*float64(1-i%3)))
	}
}

// metrics is what a scraper reads.
func (w *world) metrics(t *testing.T) string {
	t.Helper()
	c := &http.Client{Transport: w.transport.(http.RoundTripper)}
	res, err := c.Get(w.house.URL() + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestReapplyRefusals: each reason for which the correction is not put back on
// has its sentence, its hint and its count in metrics, and leaves the map alone;
// once the map was measured anew within the limits it goes through, under a
// digest of its own, unproved.
func TestReapplyRefusals(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	for name, c := range map[string]struct {
		bare       bool // nothing is applied before
		do         func(r reapplying)
		code, says string
	}{
		"nothing was applied": {bare: true, code: "not-applied", says: "no correction is approved and in force"},
		"undone": {do: func(r reapplying) {
			p := &demo.Person{API: r.w.api, Name: "the played person"}
			if err := errors.Join(r.w.api.Undo(r.t.Context()), p.Settled(r.t.Context(), api.Undone)); err != nil {
				r.t.Fatal(err)
			}
		}, code: "not-applied", says: "no correction"},
		"in force": {code: "not-needed", says: "in force already"},
		"another bed": {do: func(r reapplying) { r.nodes(1.2) },
			code: "too-large", says: "the bed map would be up to 1."},
		"a node by 5 um": {do: func(r reapplying) { r.edit(0, 0, 0.005) }, code: "not-needed", says: "in force already"},
		"a node by far": {do: func(r reapplying) { r.edit(0, 0, 0.3) },
			code: "map-mixed", says: "some nodes of the bed map have the correction in them"},
		"a row measured anew": {do: func(r reapplying) { r.row(2, 0.004) },
			code: "map-mixed", says: "some nodes of the bed map have the correction in them"},

		"printing": {do: func(r reapplying) { r.nodes(0.01); r.printer.Print(10, 100) },
			code: "foreign-use", says: "print"},
		"a heater": {do: func(r reapplying) { r.nodes(0.01); behind(r.t, r.printer, "M104 S200") },
			code: "foreign-use", says: "heat"},
		"a run": {do: func(r reapplying) {
			r.nodes(0.01)
			if _, err := r.w.api.StartRun(r.t.Context(), "repeat"); err != nil {
				r.t.Fatal(err)
			}
		}, code: "run-active", says: "a run is active"},
		"no link": {do: func(r reapplying) { r.w.wire.pull(true); wait(r.t) },
			code: "lost", says: "link to the printer is lost"},
		"another lever": {do: func(r reapplying) {
			behind(r.t, r.printer, "M851 X3.00 Y41.00")
			behind(r.t, r.printer, "M500")
			r.printer.Restart()
			time.Sleep(20 * time.Second)
			ready(r.t, r.w)
		}, code: "expired", says: "the lever from nozzle to probe is another"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := image(t, base)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer})
				defer w.close()
				ready(t, w)
				r := reapplying{t, w, printer, printer.Nodes()}
				if !c.bare {
					w.applyOnly(t)
				}
				if c.do != nil {
					c.do(r)
				}
				was := printer.Nodes()
				var e *api.Error
				err := w.api.Reapply(t.Context())
				if !errors.As(err, &e) || e.Code != c.code || !strings.Contains(e.Text, c.says) || e.Hint == "" {
					t.Fatalf("%v, want %s with %q", err, c.code, c.says)
				}
				if !equalNodes(was, printer.Nodes()) {
					t.Error("refused, but the map was changed")
				}
				wait(t)
				text := w.metrics(t)
				for _, line := range []string{`abbed_reapply_refused_total{code="` + c.code + `"} 1`, `abbed_step_last_success{step="reapply"} 0`} {
					if !strings.Contains(text, line) {
						t.Errorf("no %s in the metrics", line)
					}
				}
			})
		})
	}
	t.Run("measured again", func(t *testing.T) {
		dir := image(t, base)
		synctest.Test(t, func(t *testing.T) {
			printer := bench.New(sc, bench.Options{Seed: 2})
			w := open(t, dir, sc, &cable{printer: printer})
			defer w.close()
			ready(t, w)
			r := reapplying{t, w, printer, printer.Nodes()}
			w.applyOnly(t)
			first, _ := w.api.Applied(t.Context())
			after := printer.Nodes()
			r.nodes(0.012)
			p := &demo.Person{API: w.api, Name: "the played person"}
			if err := errors.Join(w.api.Reapply(t.Context()), p.Settled(t.Context(), api.Kept)); err != nil {
				t.Fatal(err)
			}
			for j := range after {
				for i := range after[j] {
					after[j][i] += 0.012
				}
			}
			a, err := w.api.Applied(t.Context())
			if err != nil || !nearNodes(printer.Nodes(), after) || !nearNodes(printer.Kept(), after) || *a.Digest == *first.Digest || a.Proved || a.Expired != nil {
				t.Errorf("%+v, %v", a, err)
			}
			wait(t)
			if text := w.metrics(t); !strings.Contains(text, `abbed_step_last_success{step="reapply"} 1`) || strings.Contains(text, "abbed_reapply_refused_total{") {
				t.Error("the metrics do not tell of it")
			}
		})
	})
}

// applyOnly signs off and applies the table of the only run.
func (w *world) applyOnly(t *testing.T) {
	t.Helper()
	p, o := &demo.Person{API: w.api, Name: "the played person"}, &ask.Outcome{}
	runs, err := w.api.Runs(t.Context())
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	if o.Table, err = w.api.Table(t.Context(), runs[0].ID); err != nil || o.Table.Digest == nil {
		t.Fatalf("%+v %v", o.Table.Refused, err)
	}
	if err := p.Apply(t.Context(), o); err != nil {
		t.Fatal(err)
	}
}

// TestReapplyAtSilence: a printer that has fallen silent keeps no one waiting who asks for the
// correction to be put back on, as a print start does; a refusal that comes later is counted.
func TestReapplyAtSilence(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	dir := image(t, base)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 2})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		ready(t, w)
		w.applyOnly(t)
		printer.Inject(bench.Fault{Name: "half-open"})
		began := time.Now()
		err := w.api.Reapply(t.Context())
		if took := time.Since(began); took > 3*time.Second {
			t.Errorf("answered after %v: %v", took, err)
		}
		time.Sleep(2 * time.Minute)
		if text := w.metrics(t); strings.Count(text, "abbed_reapply_refused_total{") != 1 {
			t.Error("the refusal is not counted")
		}
		if a, err := w.api.Applied(t.Context()); err != nil || a.State != api.Kept {
			t.Errorf("%+v, %v", a, err)
		}
	})
}
