package e2e_test

import (
	"math"
	"testing"
	"testing/synctest"

	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestForget: a reading that was taken back binds nothing any more: it is taken again,
// and does not count.
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
		first := *r.Place
		// A reading 0.3 mm too early.
		for r.Place.Z-first.Predicted-r.Place.Gauge > 0.31 {
			r = w.press(t, r, "loose")
		}
		r = w.press(t, r, "drags")
		if r.Gaugings != 1 {
			t.Fatalf("%d readings, one was taken", r.Gaugings)
		}
		r = w.press(t, r, "forget")
		if r.Gaugings != 0 || r.Place.Records != 0 {
			t.Errorf("after forgetting: %d readings, %+v", r.Gaugings, *r.Place)
		}
		// Nothing is expected from it: the other readings are the only ones.
		for r.State == api.AwaitingGauge && r.Gaugings < 2 {
			if r.Place.Z-r.Place.Gauge-first.Predicted > 0.02 {
				r = w.press(t, r, "loose")
			} else {
				r = w.press(t, r, "drags")
			}
		}
		run := laterRecord(t, w, r.ID)
		if r.State != api.AwaitingNext || len(run.Gaugings) != 2 || math.Abs(run.Gaugings[0].Z-run.Gaugings[1].Z) > 0.05 {
			t.Errorf("%s, %+v", r.State, run.Gaugings)
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

// press says what is felt at the gauge, and waits where next is answered at once.
func (w *world) press(t *testing.T, r api.Run, do string) api.Run {
	t.Helper()
	r, err := w.api.Gauge(t.Context(), r.ID, api.GaugeAction{Action: do})
	if err != nil {
		t.Fatalf("%s: %v", do, err)
	}
	if do != "next" {
		return r
	}
	if r.State != api.Running { // the move goes on
		t.Errorf("next is answered with a run that is %s", r.State)
	}
	r, err = w.api.Wait(t.Context(), r.ID, func(r api.Run) bool { return r.State != api.Running })
	if err != nil {
		t.Fatal(err)
	}
	return r
}
