package main

import (
	"errors"
	"testing"
	"testing/synctest"

	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestStepThatMovesNothing: a step that the printer cannot make is refused, sends nothing
// and does not open the way to a record.
func TestStepThatMovesNothing(t *testing.T) {
	sc := lookup(t, "healthy")
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 6})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		r := w.gaugingOpened(t)
		refused := func(do string, mm *float64, code string) {
			t.Helper()
			var e *api.Error
			if _, err := w.api.Gauge(t.Context(), r.ID, api.GaugeAction{Action: do, MM: mm}); !errors.As(err, &e) || e.Code != code || e.Hint == "" {
				t.Errorf("%s: %v, want %s", do, err, code)
			}
		}
		at := printer.Safety().Place
		for _, mm := range []float64{0.0004, 1e-9, 0.00099} {
			refused("lower", &mm, "bad-value")
			refused("raise", &mm, "bad-value")
		}
		refused("record", nil, "lower-first")
		if printer.Safety().Place != at {
			t.Errorf("the nozzle went from %v to %v", at, printer.Safety().Place)
		}
		if w.press(t, r, "lower", 0.001).Place.Z >= r.Place.Z {
			t.Error("the smallest step moves nothing")
		}
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	})
}
