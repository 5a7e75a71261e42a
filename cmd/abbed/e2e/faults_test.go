package e2e_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// during runs the job of a person and calls upset once when the run has come to
// the step, in a bubble. It returns the run as it ended.
func during(t *testing.T, w *world, step string, done int, upset func()) api.Run {
	t.Helper()
	p := &demo.Person{API: w.api, Feel: w.wire.printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
	upsetOnce := false
	p.Seen = func(r api.Run) {
		if !upsetOnce && r.Step == step && r.Progress.Done >= done {
			upsetOnce = true
			upset()
		}
	}
	run, err := p.Measure(t.Context(), "repeat", "gauging", "survey")
	if !upsetOnce {
		t.Fatalf("the run never came to %s %d: %v", step, done, err)
	}
	if run.ID == "" {
		t.Fatal(err)
	}
	run, err = w.api.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.State.Over() })
	if err != nil && !run.State.Over() {
		t.Fatal(err)
	}
	return run
}

// moments are the steps in which things are made to go wrong.
var moments = []struct {
	step string
	done int
}{{"prepare", 1}, {"repeat", 20}, {"gauging", 3}, {"survey", 30}}

func eachMoment(t *testing.T, do func(t *testing.T, w *world, step string, done int)) {
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range moments {
		t.Run(m.step, func(t *testing.T) {
			t.Parallel()
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 4})})
				defer w.close()
				do(t, w, m.step, m.done)
			})
		})
	}
}

// TestPulledCable: the run fails, what was measured is kept, nothing was unsafe,
// what was switched off is owed, and the link is made again.
func TestPulledCable(t *testing.T) {
	t.Parallel()
	eachMoment(t, func(t *testing.T, w *world, step string, done int) {
		run := during(t, w, step, done, func() { w.wire.pull(true) })
		if run.State != api.Failed || run.Error == nil || run.Error.Hint == "" {
			t.Errorf("the run: %s, %+v; want failed, with a hint", run.State, run.Error)
		}
		if step == "survey" && run.Touches < 24+done {
			t.Errorf("%d touches kept", run.Touches)
		}
		safe(t, w)
		w.wire.pull(false)
		p := ready(t, w)
		if p.Homed {
			t.Error("still homed after a lost link")
		}
		if step != "prepare" && !slices.Contains(p.Owed, "levelling") {
			t.Errorf("owed %v: want the levelling", p.Owed)
		}
		putBackAndGoOn(t, w, p)
	})
}

// TestRestart: the same when the board restarts by itself.
func TestRestart(t *testing.T) {
	t.Parallel()
	eachMoment(t, func(t *testing.T, w *world, step string, done int) {
		run := during(t, w, step, done, w.wire.printer.Restart)
		if run.State != api.Failed {
			t.Errorf("the run: %s; want failed", run.State)
		}
		safe(t, w)
		putBackAndGoOn(t, w, ready(t, w))
	})
}

// TestStop: a stop ends the run as stopped, whatever the printer reports, and
// the printer got the request.
func TestStop(t *testing.T) {
	t.Parallel()
	eachMoment(t, func(t *testing.T, w *world, step string, done int) {
		run := during(t, w, step, done, func() {
			if _, err := w.api.Stop(t.Context()); err != nil {
				t.Errorf("stop: %v", err)
			}
		})
		if run.State != api.Stopped {
			t.Errorf("the run: %s; want stopped", run.State)
		}
		if s := w.wire.printer.Safety(); s.Halts == 0 {
			t.Error("the printer did not get the request")
		}
		safe(t, w)
		w.wire.printer.Restart()
		putBackAndGoOn(t, w, ready(t, w))
	})
}

// TestIdleOffAsFound: the idle switch-off is put back to what it was when the run
// began, and not to what it was when the printer was identified.
func TestIdleOffAsFound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sc := lookup(t, "healthy")
		printer := bench.New(sc, bench.Options{Seed: 1})
		w := open(t, memoryDir(t), sc, &cable{printer: printer})
		defer w.close()
		ready(t, w)
		for _, seconds := range []float64{300, 77} {
			behind(t, printer, fmt.Sprintf("M84 S%.0f", seconds))
			p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
			held := false
			p.Seen = func(api.Run) { held = held || printer.Safety().Idle > 10000 }
			if run, err := p.Measure(t.Context(), "repeat"); err != nil || run.State != api.Done {
				t.Fatalf("%s, %v", run.State, err)
			}
			if got := printer.Safety().Idle; got != seconds || !held {
				t.Errorf("put back to %v s, want %v; held off meanwhile: %v", got, seconds, held)
			}
		}
	})
}

// TestEnd: when the program is ended in the middle of a run, the nozzle is
// raised and what was switched off is on again.
func TestEnd(t *testing.T) {
	t.Parallel()
	eachMoment(t, func(t *testing.T, w *world, step string, done int) {
		ctx, cancel := context.WithCancel(t.Context())
		p := &demo.Person{API: w.api, Feel: w.wire.printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		p.Seen = func(r api.Run) {
			if r.Step == step && r.Progress.Done >= done {
				cancel()
			}
		}
		_, _ = p.Measure(ctx, "repeat", "gauging", "survey")
		w.end()
		w.running.Wait()
		s := w.wire.printer.Safety()
		if !s.Limits || !s.Levelling || s.Idle != 120 {
			t.Errorf("left behind: limits on %v, levelling on %v, idle %v s", s.Limits, s.Levelling, s.Idle)
		}
		safe(t, w)
	})
}

func safe(t *testing.T, w *world) {
	t.Helper()
	s := w.wire.printer.Safety()
	if s.LowTravel > 0 || s.NozzleTouches(1.7) > 0 || s.Unhomed > 0 {
		t.Errorf("unsafe: %d low travels, %d contacts beyond the person's own, %d moves unhomed", s.LowTravel, s.NozzleTouches(1.7), s.Unhomed)
	}
}

// ready waits until the printer is there again.
func ready(t *testing.T, w *world) api.Printer {
	t.Helper()
	for {
		p, err := w.api.Printer(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if p.Link == api.Ready {
			return p
		}
		wait(t)
	}
}

// putBackAndGoOn has owed switches put back and sees a new run accepted.
func putBackAndGoOn(t *testing.T, w *world, p api.Printer) {
	t.Helper()
	if len(p.Owed) > 0 {
		if _, err := w.api.StartRun(t.Context(), "repeat"); err == nil {
			t.Errorf("a run was accepted while %v is owed", p.Owed)
		}
		if err := w.api.Resolve(t.Context(), "finish"); err != nil {
			t.Fatalf("put back: %v", err)
		}
		for len(p.Owed) > 0 {
			wait(t)
			var err error
			if p, err = w.api.Printer(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
	}
	if s := w.wire.printer.Safety(); !s.Limits || !s.Levelling {
		t.Errorf("after putting back: limits on %v, levelling on %v", s.Limits, s.Levelling)
	}
	if _, err := w.api.StartRun(t.Context(), "repeat"); err != nil {
		t.Errorf("a new run: %v", err)
	}
	if _, err := w.api.Stop(t.Context()); err != nil {
		t.Errorf("stop: %v", err)
	}
}
