package e2e_test

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestRetention: a run that is too old is named for a week, then dropped; the
// run of what is applied stays.
func TestRetention(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	sc.Chatter, sc.Waits = 0, 0
	for name, applied := range map[string]bool{"measured": false, "applied": true} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer}, func(s *config.Settings) { s.Retention.Days = 2 })
				defer w.close()
				p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
				if applied {
					applyWhole(t, w, p)
				} else if run, err := p.Measure(t.Context(), "repeat"); err != nil || run.State != api.Done {
					t.Fatalf("%s, %v", run.State, err)
				}
				look := func(after time.Duration, runs int, named bool) {
					t.Helper()
					time.Sleep(after) // of the bubble's time, which costs none
					rs, err := w.api.Runs(t.Context())
					pr, e := w.api.Printer(t.Context())
					if err = errors.Join(err, e); err != nil || len(rs) != runs || strings.Contains(pr.Sentence, "abbed data export") != named {
						t.Errorf("%d runs, want %d; the page says %q; %v", len(rs), runs, pr.Sentence, err)
					}
				}
				look(25*time.Hour, 1, !applied)
				look(5*24*time.Hour, 1, !applied) // old enough, but named six days only
				if applied {
					look(10*24*time.Hour, 1, false)
					return
				}
				look(3*24*time.Hour, 0, false)
			})
		})
	}
}

// TestReapply: when the printer has measured its map anew, the correction has
// expired and is put onto the new map; when the head tilts otherwise, a newer
// run says so, and it is not.
func TestReapply(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	straight := sc
	straight.Roll = nil
	for name, c := range map[string]struct {
		then bench.Scenario
		says string
	}{"the same head": {sc, ""}, "a straight beam": {straight, "the head tilts otherwise"}} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2, Wording: 1})
				w := open(t, dir, sc, &cable{printer: printer})
				defer w.close()
				p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
				applyWhole(t, w, p)
				w.wire.pull(true)
				printer = bench.New(c.then, bench.Options{Seed: 77, Wording: 1})
				w.wire.printer, p.Feel = printer, printer.Blade
				w.wire.pull(false)
				wait(t)
				if pr := ready(t, w); len(pr.Owed) > 0 {
					t.Fatal(pr.Owed)
				}
				if run, err := p.Measure(t.Context(), "repeat", "gauging", "survey"); err != nil || run.State != api.Done {
					t.Fatalf("%s, %v", run.State, err)
				}
				a, err := w.api.Applied(t.Context())
				if err != nil || a.Expired == nil || !strings.Contains(*a.Expired, c.says) || a.Proved || a.MeasureAgain != (c.says != "") {
					t.Fatalf("%+v, %v", a, err)
				}
				before := printer.Nodes()
				err = w.api.Reapply(t.Context())
				var e *api.Error
				if c.says != "" {
					if !errors.As(err, &e) || e.Code != "expired" || !equalNodes(before, printer.Nodes()) {
						t.Errorf("re-applied: %v", err)
					}
					return
				}
				if err != nil {
					t.Fatalf("re-apply: %v", err)
				}
				if err := p.Settled(t.Context(), api.Kept); err != nil || equalNodes(before, printer.Nodes()) {
					t.Errorf("re-apply: %v", err)
				}
				if err := w.api.Reapply(t.Context()); !errors.As(err, &e) || e.Code != "not-needed" {
					t.Errorf("once more: %v", err)
				}
			})
		})
	}
}
