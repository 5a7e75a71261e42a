package e2e_test

import (
	"encoding/json"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestProve: an applied table is unproved until the nozzle has been gauged with
// the levelling on; a right one is then proved, and one whose machine changed in
// between is not. The levelling stands afterwards as it stood before.
func TestProve(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		spoil  float64 // mm, added to every node behind abbed's back
		proved bool
		says   string
		most   int // readings
	}{"a right table": {0, true, "", 3}, "a map that was moved": {0.08, false, "at the zero point", 2}} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer})
				defer w.close()
				p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
				whole := applyWhole(t, w, p)
				if a, err := w.api.Applied(t.Context()); err != nil || a.Proved {
					t.Fatalf("proved before it was gauged: %+v, %v", a, err)
				}
				if c.spoil != 0 {
					printer.Shift(c.spoil)
				}
				run, err := w.api.Prove(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if run, err = p.Carry(t.Context(), run); err != nil || run.State != api.Done {
					t.Fatalf("the proof: %s, %v", run.State, err)
				}
				if says := map[bool]string{true: "Verified. ", false: "Not verified. "}[c.proved]; !strings.HasPrefix(run.Sentence, says) || !strings.Contains(run.Sentence, c.says) {
					t.Errorf("it ended with %q", run.Sentence)
				}
				if a, err := w.api.Analysis(t.Context(), run.ID); err != nil || len(a.Findings) != 1 || a.Findings[0].ID != "undetermined" || !strings.Contains(a.Findings[0].Sentence, "nothing else of the printer") {
					t.Errorf("its findings: %+v, %v", a.Findings, err)
				}
				asked := &cobra.Command{}
				asked.SetContext(t.Context())
				if id, err := ask.Chosen(asked, w.api, nil); err != nil || id != whole.Run.ID {
					t.Errorf("the latest run that tells of the machine: %s, %v; want %s", id, err, whole.Run.ID)
				}
				var kept record.Run
				if raw, err := w.api.Record(t.Context(), run.ID); err != nil || json.Unmarshal(raw, &kept) != nil || len(kept.Gaugings) == 0 || len(kept.Gaugings) > c.most {
					t.Errorf("%d readings, at most %d: %v", len(kept.Gaugings), c.most, err)
				}
				a, err := w.api.Applied(t.Context())
				if err != nil || a.Proved != c.proved {
					t.Errorf("proved %v, want %v: %+v, %v", a.Proved, c.proved, a, err)
				}
				if c.says != "" && (a.Error == nil || a.Error.Code != "not-proved" || !strings.Contains(a.Error.Text, c.says)) {
					t.Errorf("it says %+v, want %q", a.Error, c.says)
				}
				if s := printer.Safety(); !s.Levelling || !s.Limits {
					t.Errorf("left behind: levelling on %v, limits on %v", s.Levelling, s.Limits)
				}
				if c.proved { // what is not in force any more is not proved either
					if err := w.api.Undo(t.Context()); err != nil {
						t.Fatal(err)
					}
					if err := p.Settled(t.Context(), api.Undone); err != nil {
						t.Fatal(err)
					}
					if a, err = w.api.Applied(t.Context()); err != nil || a.Proved {
						t.Errorf("after undo: %+v, %v", a, err)
					}
				}
				safe(t, w)
			})
		})
	}
}

// applyWhole does a whole job and leaves the table applied.
func applyWhole(t *testing.T, w *world, p *demo.Person) *ask.Outcome {
	t.Helper()
	run, err := p.Measure(t.Context(), "repeat", "gauging", "survey")
	if err != nil {
		t.Fatal(err)
	}
	o := &ask.Outcome{Run: run}
	if err := o.Read(t.Context(), w.api); err != nil {
		t.Fatal(err)
	}
	if o.Table.Digest == nil {
		t.Fatalf("no table: %+v", o.Table.Refused)
	}
	if err := p.Apply(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	return o
}

// TestSecondApplication: with the table in force a second whole job finds the
// same machine and offers nothing to add.
func TestSecondApplication(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 5})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(3, 2)), Name: "the played person"}
		applyWhole(t, w, p)
		run, err := p.Measure(t.Context(), "repeat", "gauging", "survey")
		if err != nil {
			t.Fatal(err)
		}
		table, err := w.api.Table(t.Context(), run.ID)
		if err != nil || table.Refused == nil || table.Refused.Code != "not-needed" {
			t.Errorf("the second table: %+v, %v; want not-needed", table.Refused, err)
		}
	})
}
