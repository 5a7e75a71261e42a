package e2e_test

import (
	"errors"
	"slices"
	"testing"
	"testing/synctest"

	"abbed/config"
	"abbed/daemon"
	"abbed/gcode/bench"
)

// TestRenew: settings are renewed between runs; what needs a restart waits, and
// in the middle of a run nothing is taken.
func TestRenew(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		var first config.Settings
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 6})}, func(s *config.Settings) { first = *s })
		defer w.close()
		ready(t, w)
		next := first
		next.Layer, next.Bed, next.Port = 0.3, &config.Rect{X0: 0, Y0: 0, X1: 200, Y1: 200}, "tcp://192.0.2.4:23"
		got, err := w.house.Daemon.Renew(next)
		if err != nil || !slices.Equal(got.Taken, []string{"bed", "layer"}) || !slices.Equal(got.Waiting, []string{"port"}) {
			t.Fatalf("Renew: %+v, %v", got, err)
		}
		p, err := w.api.Printer(t.Context())
		if err != nil || p.Layer != 0.3 || p.Port != first.Port {
			t.Errorf("the printer shows layer %g and port %s, %v", p.Layer, p.Port, err)
		}
		if _, err := w.api.StartRun(t.Context(), "gauging"); err != nil {
			t.Fatal(err)
		}
		if got, err := w.house.Daemon.Renew(first); !errors.Is(err, daemon.ErrRunning) {
			t.Errorf("in the middle of a run: %+v, %v", got, err)
		}
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Fatal(err)
		}
		wait(t)
		if got, err := w.house.Daemon.Renew(first); err != nil || !slices.Equal(got.Taken, []string{"bed", "layer"}) || len(got.Waiting) > 0 {
			t.Errorf("back again: %+v, %v", got, err)
		}
	})
}

// TestRenewRefuses: what may change and what has to wait are held together;
// what does not fit changes nothing.
func TestRenewRefuses(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		var first config.Settings
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 6})}, func(s *config.Settings) { first = *s })
		defer w.close()
		next := first
		next.Heat.Nozzle = 300 // above what may be asked for
		var wrong *config.Error
		if got, err := w.house.Daemon.Renew(next); !errors.As(err, &wrong) || len(got.Taken) > 0 {
			t.Errorf("Renew: %+v, %v", got, err)
		}
		if got, err := w.house.Daemon.Renew(first); err != nil || len(got.Taken) > 0 {
			t.Errorf("the refused settings stayed: %+v, %v", got, err)
		}
	})
}

// TestRenewable: every setting is told from the others by its group, so that a
// new one of a group that is fixed is fixed too.
func TestRenewable(t *testing.T) {
	for key, want := range map[string]bool{
		"port": false, "access.hosts": false, "words.patterns": false, "probe.style": false,
		"probe.adds_offset": true, "effort": true, "log_level": true, "portable": true,
	} {
		if got := daemon.Renewable(key); got != want {
			t.Errorf("Renewable(%q) = %v", key, got)
		}
	}
}
