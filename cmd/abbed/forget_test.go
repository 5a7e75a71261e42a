package main

import (
	"math"
	"testing"
	"testing/synctest"

	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestForget: a record that was taken back binds nothing any more. The nozzle
// comes back for a second record at the height of the first; when that is
// forgotten, prediction and floor are again those of a first visit.
func TestForget(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 6})})
		defer w.close()
		r := w.gaugingOpened(t)
		predicted := r.Place.Predicted
		// Record 0.3 mm too early.
		for r.Place.Z-predicted-r.Place.Gauge > 0.31 {
			r = w.press(t, r, "lower", min(r.Place.MaxStep, r.Place.Z-predicted-r.Place.Gauge-0.3))
		}
		r = w.press(t, r, "record", 0)
		r = w.press(t, r, "next", 0)
		if math.Abs(r.Place.Predicted-predicted) < 0.2 {
			t.Fatalf("the second visit predicts %.3f, as the first did: the early record does not count", r.Place.Predicted)
		}
		r = w.press(t, r, "forget", 0)
		if r.Place.Records != 0 || math.Abs(r.Place.Predicted-predicted) > 0.05 || math.Abs(r.Place.Floor-(r.Place.Predicted-0.5)) > 1e-6 {
			t.Errorf("after forgetting: %+v; the first visit predicted %.3f", *r.Place, predicted)
		}
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	})
}

// gaugingOpened starts a run of the gauging alone and waits for the first place.
func (w *world) gaugingOpened(t *testing.T) api.Run {
	t.Helper()
	ready(t, w)
	r, err := w.api.StartRun(t.Context(), "gauging")
	if err != nil {
		t.Fatal(err)
	}
	how := api.Confirm{Person: "the played person"}
	for _, c := range r.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	if err := w.api.Confirm(t.Context(), r.ID, how); err != nil {
		t.Fatal(err)
	}
	r, err = w.api.Wait(t.Context(), r.ID, func(r api.Run) bool { return r.State == api.AwaitingGauge })
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (w *world) press(t *testing.T, r api.Run, do string, mm float64) api.Run {
	t.Helper()
	a := api.GaugeAction{Action: do}
	if mm > 0 {
		mm = math.Floor(mm*1000) / 1000
		a.MM = &mm
	}
	next, err := w.api.Gauge(t.Context(), r.ID, a)
	if err != nil {
		t.Fatalf("%s: %v", do, err)
	}
	return next
}
