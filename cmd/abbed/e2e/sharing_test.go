package e2e_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
)

// shared runs do in a bubble, with a daemon that holds the port for a run only.
// book is the file in which the owner's commands note that the port was let go
// (b) and taken back (a).
func shared(t *testing.T, scenario string, do func(t *testing.T, w *world, book string), change ...func(*config.Settings)) {
	t.Helper()
	sc, err := bench.Lookup(scenario)
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	book := filepath.Join(dir, "book")
	hold := func(s *config.Settings) {
		s.Hold = config.HoldRun
		s.Before, s.After = "printf b >> "+book, "printf a >> "+book
	}
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 4})}, append([]func(*config.Settings){hold}, change...)...)
		defer w.close()
		do(t, w, book)
	})
}

// rested waits until the port is given back, and returns what the printer page
// then says.
func rested(t *testing.T, w *world) api.Printer {
	t.Helper()
	return linked(t, w, api.Resting)
}

func linked(t *testing.T, w *world, want api.Link) api.Printer {
	t.Helper()
	for range 100000 {
		p, err := w.api.Printer(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if p.Link == want {
			return p
		}
		wait(t)
	}
	t.Fatalf("the link never was %s", want)
	return api.Printer{}
}

// turns holds that before and after were run in turn, n times each.
func turns(t *testing.T, book string, n int) {
	t.Helper()
	b, err := os.ReadFile(book)
	if want := strings.Repeat("ba", n); err != nil || string(b) != want {
		t.Errorf("the owner's commands were run as %q (%v), want %q", b, err, want)
	}
}

// TestHeldForARun does the whole job while the port is given back whenever it is
// not needed: identified, measured, applied, undone.
func TestHeldForARun(t *testing.T) {
	t.Parallel()
	shared(t, "beam-twist", func(t *testing.T, w *world, book string) {
		p := rested(t, w)
		if p.Homed || p.ID == "" || !p.Steps["survey"].Can {
			t.Errorf("resting: homed %v, identity %q, survey %+v", p.Homed, p.ID, p.Steps["survey"])
		}
		wait(t)
		w.wire.mu.Lock()
		_, err := w.wire.near.Write([]byte("\n"))
		w.wire.mu.Unlock()
		if err == nil {
			t.Error("the port is open while the link is resting")
		}
		who := &demo.Person{API: w.api, Feel: w.wire.printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		before := w.wire.printer.Nodes()
		o, err := who.WholeJob(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if o.Table.Digest == nil {
			t.Error("no table")
		}
		if !equalNodes(before, w.wire.printer.Nodes()) {
			t.Error("undo left other nodes")
		}
		safe(t, w)
		if p := rested(t, w); p.Homed {
			t.Error("homed, though the port was given back")
		}
		wait(t)
		turns(t, book, 5) // to identify, to measure, to ask the settings at the sign-off, to apply, to undo
	})
}

// TestWokenInVain: what prevents the opening fails the run, with its reason, and
// leaves a link that is tried again.
func TestWokenInVain(t *testing.T) {
	t.Run("unplugged", func(t *testing.T) {
		shared(t, "healthy", func(t *testing.T, w *world, book string) {
			rested(t, w)
			w.wire.pull(true)
			run := confirmed(t, w)
			if run.State != api.Failed || run.Error == nil || run.Error.Code != "lost" || run.Error.Hint == "" || run.Touches != 0 {
				t.Errorf("%s, %+v", run.State, run.Error)
			}
			linked(t, w, api.Lost)
			var refused *api.Error
			if _, err := w.api.StartRun(t.Context(), "repeat"); !errors.As(err, &refused) || refused.Status != 503 || refused.Code != "lost" {
				t.Errorf("a run while the printer is unplugged: %v", err)
			}
			w.wire.pull(false)
			rested(t, w)
			if run := confirmed(t, w, "repeat"); run.State != api.Done {
				t.Errorf("after it is back: %s, %+v", run.State, run.Error)
			}
			safe(t, w)
		})
	})
	t.Run("another printer", func(t *testing.T) {
		shared(t, "healthy", func(t *testing.T, w *world, book string) {
			rested(t, w)
			other, err := bench.Lookup("beam-twist")
			if err != nil {
				t.Fatal(err)
			}
			other.Lever[0] += 3
			run, err := w.api.StartRun(t.Context(), "repeat")
			if err != nil {
				t.Fatal(err)
			}
			w.wire.printer = bench.New(other, bench.Options{Seed: 4})
			run = confirm(t, w, run)
			if run.State != api.Failed || run.Error == nil || run.Error.Code != "printer-changed" {
				t.Errorf("%s, %+v", run.State, run.Error)
			}
			if s := w.wire.printer.Safety(); s.Touches > 0 || s.Unhomed > 0 {
				t.Errorf("it moved: %+v", s)
			}
			rested(t, w)
			if run := confirmed(t, w, "repeat"); run.State != api.Done {
				t.Errorf("a new run: %s, %+v", run.State, run.Error)
			}
		})
	})
	t.Run("not let go", func(t *testing.T) {
		held := filepath.Join(memoryDir(t), "held")
		shared(t, "healthy", func(t *testing.T, w *world, book string) {
			rested(t, w)
			if err := os.WriteFile(held, nil, 0o600); err != nil {
				t.Fatal(err)
			}
			run := confirmed(t, w)
			if run.State != api.Failed || run.Error == nil || run.Error.Code != "before-failed" || !strings.Contains(run.Error.Text, "somebody prints") {
				t.Errorf("%s, %+v", run.State, run.Error)
			}
			if p := linked(t, w, api.Taken); !strings.Contains(p.Sentence, "somebody prints") {
				t.Errorf("the page says %q", p.Sentence)
			}
			if err := os.Remove(held); err != nil {
				t.Fatal(err)
			}
			rested(t, w)
		}, func(s *config.Settings) {
			s.Before = fmt.Sprintf("if test -e %s; then echo somebody prints >&2; exit 4; fi", held)
		})
	})
}

// confirmed does a run without a person at the blade.
func confirmed(t *testing.T, w *world, steps ...string) api.Run {
	t.Helper()
	if len(steps) == 0 {
		steps = []string{"repeat", "gauging", "survey"}
	}
	var run api.Run
	err := client.Patiently(t.Context(), func() (err error) {
		run, err = w.api.StartRun(t.Context(), steps...)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return confirm(t, w, run)
}

func confirm(t *testing.T, w *world, run api.Run) api.Run {
	t.Helper()
	how := api.Confirm{Person: "the played person"}
	for _, c := range run.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	if err := w.api.Confirm(t.Context(), run.ID, how); err != nil {
		t.Fatal(err)
	}
	run, err := w.api.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.State.Over() })
	if err != nil && !run.State.Over() {
		t.Fatal(err)
	}
	return run
}

// TestStopWhileResting: a run that waits is ended; without one nothing is
// sent.
func TestStopWhileResting(t *testing.T) {
	shared(t, "healthy", func(t *testing.T, w *world, book string) {
		rested(t, w)
		if said, err := w.api.Stop(t.Context()); err != nil || said.Requested || !strings.Contains(said.Text, "power switch") {
			t.Errorf("stop with nothing going on: %+v, %v", said, err)
		}
		run, err := w.api.StartRun(t.Context(), "repeat")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Errorf("stop of a run that waits: %v", err)
		}
		if run, err = w.api.Run(t.Context(), run.ID); err != nil || run.State != api.Stopped {
			t.Errorf("%s, %v", run.State, err)
		}
		wait(t)
		turns(t, book, 1)
	})
}

// TestStopWhileOpening: the opening for a run is given up.
func TestStopWhileOpening(t *testing.T) {
	shared(t, "healthy", func(t *testing.T, w *world, book string) {
		rested(t, w)
		run, err := w.api.StartRun(t.Context(), "repeat")
		if err != nil {
			t.Fatal(err)
		}
		how := api.Confirm{Person: "the played person"}
		for _, c := range run.Cautions {
			how.Cautions = append(how.Cautions, c.ID)
		}
		if err := w.api.Confirm(t.Context(), run.ID, how); err != nil {
			t.Fatal(err)
		}
		wait(t) // in the middle of the greeting
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Errorf("stop: %v", err)
		}
		run, err = w.api.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.State.Over() })
		if err != nil || run.State != api.Stopped {
			t.Errorf("%s, %v", run.State, err)
		}
		if s := w.wire.printer.Safety(); s.Touches > 0 || s.Halts != 1 {
			t.Errorf("%+v", s)
		}
		w.wire.printer.Restart()
		rested(t, w)
	})
}

// TestRequestedByThePrinter: the line that the owner named makes one run, which
// waits for a person; other lines make none.
func TestRequestedByThePrinter(t *testing.T) {
	shared(t, "healthy", func(t *testing.T, w *world, book string) {
		linked(t, w, api.Ready)
		w.wire.printer.Say("echo:someone pressed a button")
		wait(t)
		if runs, err := w.api.Runs(t.Context()); err != nil || len(runs) != 0 {
			t.Fatalf("%d runs, %v", len(runs), err)
		}
		for range 3 { // pressed again, since nothing seems to happen
			w.wire.printer.Say("//action:measure the bed")
			wait(t)
		}
		runs, err := w.api.Runs(t.Context())
		if err != nil || len(runs) != 1 || runs[0].State != api.AwaitingConfirmation || len(runs[0].Steps) != 3 {
			t.Fatalf("%+v, %v", runs, err)
		}
		wait(t)
		if s := w.wire.printer.Safety(); s.Touches > 0 || s.Unhomed > 0 {
			t.Errorf("it moved before a person confirmed: %+v", s)
		}
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	}, func(s *config.Settings) {
		s.Hold = config.HoldAlways
		s.Words.Patterns["request"] = `^//\s*action:measure`
	})
}

// TestHeldAlways: the owner's commands are run once before the port is opened,
// and once after the program has given it back at its end.
func TestHeldAlways(t *testing.T) {
	book := ""
	shared(t, "healthy", func(t *testing.T, w *world, b string) {
		book = b
		linked(t, w, api.Ready)
		for range 2 {
			if run := confirmed(t, w, "repeat"); run.State != api.Done {
				t.Errorf("%s, %+v", run.State, run.Error)
			}
		}
		if p, err := w.api.Printer(t.Context()); err != nil || p.Link != api.Ready {
			t.Errorf("%s, %v", p.Link, err)
		}
		if b, err := os.ReadFile(book); err != nil || string(b) != "b" {
			t.Errorf("the owner's commands were run as %q, %v", b, err)
		}
		w.close()
		turns(t, book, 1)
	}, func(s *config.Settings) { s.Hold = config.HoldAlways })
}
