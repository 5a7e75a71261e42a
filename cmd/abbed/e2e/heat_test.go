package e2e_test

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

func celsius(v float64) *float64 { return &v }

// heated opens a world on a virtual printer and asks for a run with heat.
func heated(t *testing.T, sc bench.Scenario, seed uint64, do func(t *testing.T, w *world, p *bench.Printer)) {
	t.Helper()
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: seed})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		ready(t, w)
		do(t, w, printer)
	})
}

// touched waits until a run has made a touch of its own.
func touched(w *world, id string) {
	for {
		if r, err := w.house.Daemon.Run(id); err != nil || r.Touches > 0 || r.State.Over() {
			return
		}
		time.Sleep(time.Second)
	}
}

func confirmAll(ctx context.Context, w *world, r api.Run) error {
	how := api.Confirm{Person: "the played person"}
	for _, c := range r.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	return w.api.Confirm(ctx, r.ID, how)
}

// TestHeat: a run heats what was asked for and nothing else, only after its own
// caution; it is warm when it measures, keeps how warm it was, and leaves the
// heaters off.
func TestHeat(t *testing.T) {
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	heated(t, sc, 4, func(t *testing.T, w *world, printer *bench.Printer) {
		ctx := t.Context()
		for name, h := range map[string]*api.Heat{
			"bed too hot": {Bed: celsius(300)}, "nozzle too hot": {Nozzle: celsius(1000)}, "below zero": {Bed: celsius(-5)}, "nothing": {},
		} {
			if _, err := w.api.Start(ctx, api.NewRun{Steps: []string{"repeat"}, Heat: h}); refusedWith(err) != "too-hot" && refusedWith(err) != "bad-value" {
				t.Errorf("%s: %v", name, err)
			}
		}
		r, err := w.api.Start(ctx, api.NewRun{Steps: []string{"repeat"}, Heat: &api.Heat{Bed: celsius(60)}})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(r.Cautions, func(c api.Caution) bool { return c.ID == "heats" }) || r.Heat == nil || *r.Heat.Bed != 60 {
			t.Errorf("the run does not say that it heats: %+v", r)
		}
		cold := r
		cold.Cautions = slices.DeleteFunc(slices.Clone(r.Cautions), func(c api.Caution) bool { return c.ID == "heats" })
		if err := confirmAll(ctx, w, cold); refusedWith(err) != "cautions-missing" {
			t.Errorf("confirmed without the caution about heat: %v", err)
		}
		if s := printer.Safety(); s.Targets != [2]float64{} {
			t.Errorf("heat before the confirmation: %v", s.Targets)
		}
		if err := confirmAll(ctx, w, r); err != nil {
			t.Fatal(err)
		}
		touched(w, r.ID)
		if s := printer.Safety(); s.Targets != [2]float64{0, 60} || s.Heats[1] < 57 {
			t.Errorf("at the first touch targets %v, temperatures %v", s.Targets, s.Heats)
		}
		r, err = w.api.Wait(ctx, r.ID, func(r api.Run) bool { return r.State.Over() })
		if err != nil || r.State != api.Done {
			t.Fatalf("%+v, %v", r, err)
		}
		if s := printer.Safety(); s.Targets != [2]float64{} || s.Unhomed > 0 || s.LowTravel > 0 {
			t.Errorf("after the run: %+v", s)
		}
		run, err := w.house.Store.Load(ctx, r.ID)
		if err != nil || len(run.Warmth) < 2 || run.Warmth[0].Bed < 57 || run.Warmth[0].BedTarget != 60 || len(run.Off) > 0 {
			t.Errorf("kept: %+v, off %v, %v", run.Warmth, run.Off, err)
		}
	})
}

// TestHeatThatFails: a heater that does not heat, and heat that is taken away,
// end the run with the heaters off.
func TestHeatThatFails(t *testing.T) {
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		fault, code string
		during      func(*bench.Printer)
	}{
		"never warm":         {fault: "refused@M140", code: "does-not-heat"},
		"switched off there": {code: "heat-lost", during: func(p *bench.Printer) { p.Heat(0, 0) }},
		"another target":     {code: "foreign-use", during: func(p *bench.Printer) { p.Heat(200, 60) }},
	} {
		t.Run(name, func(t *testing.T) {
			heated(t, sc, 4, func(t *testing.T, w *world, printer *bench.Printer) {
				if c.fault != "" {
					f, err := bench.ParseFault(c.fault)
					if err != nil {
						t.Fatal(err)
					}
					printer.Inject(f)
				}
				r, err := w.api.Start(t.Context(), api.NewRun{Steps: []string{"repeat"}, Heat: &api.Heat{Bed: celsius(60)}})
				if err != nil {
					t.Fatal(err)
				}
				if err := confirmAll(t.Context(), w, r); err != nil {
					t.Fatal(err)
				}
				if c.during != nil {
					touched(w, r.ID)
					c.during(printer)
				}
				r, err = w.api.Wait(t.Context(), r.ID, func(r api.Run) bool { return r.State.Over() })
				if err != nil || r.State != api.Failed || r.Error == nil || r.Error.Code != c.code || r.Error.Hint == "" {
					t.Errorf("%s, %+v, %v; want failed with %s", r.State, r.Error, err, c.code)
				}
				if s := printer.Safety(); s.Targets != [2]float64{} {
					t.Errorf("heaters at %v", s.Targets)
				}
			})
		})
	}
}

// TestHeatAfterACut: heat that a cut-off run left on is owed, and goes off before
// anything moves once a person has it put back.
func TestHeatAfterACut(t *testing.T) {
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 4})
		wire := &cable{printer: printer}
		w := open(t, dir, sc, wire)
		defer w.close()
		ready(t, w)
		r, err := w.api.Start(t.Context(), api.NewRun{Steps: []string{"repeat"}, Heat: &api.Heat{Bed: celsius(60)}})
		if err != nil {
			t.Fatal(err)
		}
		if err := confirmAll(t.Context(), w, r); err != nil {
			t.Fatal(err)
		}
		touched(w, r.ID)
		wire.pull(true)
		r, err = w.api.Wait(t.Context(), r.ID, func(r api.Run) bool { return r.State.Over() })
		if err != nil || r.State != api.Failed {
			t.Fatalf("%+v, %v", r, err)
		}
		wire.pull(false)
		ready(t, w)
		if o := w.house.Daemon.Printer().Owed; !slices.Contains(o, string(record.SwitchHeaters)) {
			t.Fatalf("owed %v while the bed is at %v", o, printer.Safety().Targets)
		}
		if _, err := w.api.StartRun(t.Context(), "repeat"); refusedWith(err) != "owed" {
			t.Errorf("a run while heat is owed: %v", err)
		}
		if err := w.api.Resolve(t.Context(), "finish"); err != nil {
			t.Fatal(err)
		}
		for len(w.house.Daemon.Printer().Owed) > 0 {
			time.Sleep(time.Second)
		}
		if s := printer.Safety(); s.Targets != [2]float64{} || s.Unhomed > 0 {
			t.Errorf("after it was put back: %+v", s)
		}
	})
}

// TestHeatUnwatched: when nobody has acted for five minutes the heaters go off;
// with the next press the machine is as warm as before, and homes again.
func TestHeatUnwatched(t *testing.T) {
	heated(t, lookup(t, "twist-level"), 4, func(t *testing.T, w *world, printer *bench.Printer) {
		ctx := t.Context()
		r, err := w.api.Start(ctx, api.NewRun{Steps: []string{"gauging"}, Heat: &api.Heat{Bed: celsius(60)}})
		if err == nil {
			err = confirmAll(ctx, w, r)
		}
		if err == nil {
			r, err = w.api.Wait(ctx, r.ID, func(r api.Run) bool { return r.State == api.AwaitingGauge || r.State.Over() })
		}
		if err != nil || r.State != api.AwaitingGauge || printer.Safety().Targets != [2]float64{0, 60} {
			t.Fatalf("%s, targets %v, %v", r.State, printer.Safety().Targets, err)
		}
		time.Sleep(6 * time.Minute)
		if s := printer.Safety(); s.Targets != [2]float64{} {
			t.Errorf("nobody is there, and the heaters are at %v", s.Targets)
		}
		time.Sleep(30 * time.Minute) // it cools down
		if r, err = w.api.Gauge(ctx, r.ID, api.GaugeAction{Action: "next"}); err == nil {
			r, err = w.api.Wait(ctx, r.ID, func(r api.Run) bool { return r.State != api.Running })
		}
		if err != nil || r.State != api.AwaitingGauge {
			t.Errorf("%s, %v", r.State, err)
		}
		if s := printer.Safety(); s.Targets != [2]float64{0, 60} || s.Heats[1] < 57 {
			t.Errorf("back again: targets %v, temperatures %v", s.Targets, s.Heats)
		}
		if _, err := w.api.Stop(ctx); err != nil {
			t.Error(err)
		}
	})
}
