package e2e_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/house"
	"abbed/config"
	"abbed/gcode/bench"
)

// TestReload: settings that are wrong change nothing; in the middle of a run the
// newest wait for its end; what needs a restart is said.
func TestReload(t *testing.T) {
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
		var log bytes.Buffer
		level := new(slog.LevelVar)
		next, wrong := first, error(nil)
		asked := make(chan os.Signal)
		ctx, end := context.WithCancel(t.Context())
		var own sync.WaitGroup
		own.Go(func() {
			house.Reload{Load: func() (config.Settings, error) { return next, wrong }, To: w.house.Daemon, Level: level,
				Log: slog.New(slog.NewTextHandler(&log, nil))}.Listen(ctx, asked)
		})
		again := func() string {
			log.Reset()
			asked <- syscall.SIGHUP
			synctest.Wait()
			return log.String()
		}
		layer := func() float64 {
			p, err := w.api.Printer(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			return p.Layer
		}
		wrong = &config.Error{Faults: []config.Fault{{Source: "left.yaml:3", Field: "layer", Value: "thick", Hint: "needs 0.05..1 mm"}}}
		if s := again(); !strings.Contains(s, "the old ones stay") || !strings.Contains(s, "left.yaml:3") || layer() != first.Layer {
			t.Errorf("wrong settings: layer %g, log:\n%s", layer(), s)
		}
		wrong = errors.New("cannot be read")
		if s := again(); !strings.Contains(s, "cannot be read") {
			t.Errorf("no settings: log:\n%s", s)
		}
		wrong = nil
		next.Layer, next.LogLevel, next.Baud = 0.3, "debug", 250000
		if s := again(); layer() != 0.3 || level.Level() != slog.LevelDebug || !strings.Contains(s, `changed="layer log_level"`) || !strings.Contains(s, "settings=baud") {
			t.Errorf("layer %g, level %v, log:\n%s", layer(), level.Level(), s)
		}
		if _, err := w.api.StartRun(t.Context(), "gauging"); err != nil {
			t.Fatal(err)
		}
		next.Layer = 0.4
		again()
		next.Layer = 0.5
		if s := again(); layer() != 0.3 || !strings.Contains(s, "when it has ended") {
			t.Errorf("in the middle of a run: layer %g, log:\n%s", layer(), s)
		}
		if _, err := w.api.Stop(t.Context()); err != nil {
			t.Fatal(err)
		}
		wait(t)
		if layer() != 0.5 {
			t.Errorf("after the run: layer %g", layer())
		}
		end()
		own.Wait()
	})
}
