package e2e_test

import (
	"context"
	"testing"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestNoRequestWaitsForAnother: the printer is busy while a correction is about to be
// applied. Whatever else is asked meanwhile is answered at once. In real time, since
// a lock that is held meanwhile would stop a bubble's.
func TestNoRequestWaitsForAnother(t *testing.T) {
	t.Parallel()
	const speed, busy = 50, 10 // s of real time
	sc := lookup(t, "twist-level")
	printer := bench.New(sc, bench.Options{Seed: killSeed, Speed: speed})
	w := open(t, measured(t, sc, killSeed), sc, &cable{printer: printer})
	defer w.close()
	ready(t, w)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	runs, err := w.api.Runs(ctx)
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	table, err := w.api.Table(ctx, runs[0].ID)
	if err != nil || table.Digest == nil {
		t.Fatalf("no table: %+v, %v", table.Refused, err)
	}
	p := &demo.Person{API: w.api, Name: "the played person"}
	signed, err := signOff(p, ctx, table)
	if err != nil {
		t.Fatal(err)
	}
	printer.Hang("M27", busy*speed)
	applied := make(chan error, 1)
	go func() { applied <- w.api.Apply(ctx, *table.Digest, signed) }()
	for printer.Strikes() == 0 && ctx.Err() == nil {
		wait(t)
	}
	for name, ask := range map[string]func() error{
		"start a run":   func() error { _, err := w.api.StartRun(ctx, "repeat"); return err },
		"undo":          func() error { return w.api.Undo(ctx) },
		"the printer":   func() error { _, err := w.api.Printer(ctx); return err },
		"what is there": func() error { _, err := w.api.Applied(ctx); return err },
	} {
		began := time.Now()
		err := ask()
		if took := time.Since(began); took > promptly {
			t.Errorf("%s was answered after %v (%v)", name, took, err)
		}
		if !plainly(err) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := <-applied; err != nil {
		t.Logf("the apply: %v", err)
	}
	_, _ = w.api.Stop(ctx)
}

// TestUndoAnswersAtOnce: that an undo was taken is answered at once, also beside a
// printer that is busy; what comes of it shows in what is applied.
func TestUndoAnswersAtOnce(t *testing.T) {
	t.Parallel()
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, lookup(t, "twist-level"), 2)
		defer s.close()
		applyWhole(t, s.world, s.hand)
		s.printer.Hang("M27", 200)
		began := time.Now()
		if err := s.api.Undo(t.Context()); err != nil {
			t.Error(err)
		}
		if took := time.Since(began); took > promptly+time.Second { // it looks whether the machine stands
			t.Errorf("it was answered after %v", took)
		}
		for k := 0; k < 6000; k++ {
			if a, err := s.api.Applied(t.Context()); err == nil && a.State == api.Undone {
				return
			}
			wait(t)
		}
		t.Error("it was never undone")
	})
}
