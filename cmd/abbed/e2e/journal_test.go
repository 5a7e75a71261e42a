package e2e_test

import (
	"bytes"
	"context"
	"log/slog"
	"regexp"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/cmd/abbed/process"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// logLines counts what is logged.
type logLines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logLines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

// take returns the lines since it was last called.
func (l *logLines) take() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := strings.Split(strings.TrimSpace(l.text.String()), "\n")
	l.text.Reset()
	if out[0] == "" {
		return nil
	}
	return out
}

// structured is a line of the log: time, level, message, then key=value.
var structured = regexp.MustCompile(`^time=\S+ level=(DEBUG|INFO|WARN|ERROR) msg=("([^"\\]|\\.)*"|\S+)( [\w." -]+=("([^"\\]|\\.)*"|\S*))*$`)

// TestIdleLog: an hour of idleness fills no log, whether the printer answers, is
// unplugged, or comes and goes; every line is structured. The issue allows a few
// lines a minute; an hour of doing nothing needs hardly any.
func TestIdleLog(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	for name, at := range map[string]struct {
		pulled bool
		comes  time.Duration // the cable is plugged in or pulled so often; 0: never
		most   int           // lines in the hour
	}{
		"answers":        {most: 4},
		"unplugged":      {pulled: true, most: 4},
		"comes and goes": {comes: 2 * time.Minute, most: 4 * 30},
	} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				log, listen := &logLines{}, newMemoryListener()
				wire := &cable{printer: bench.New(sc, bench.Options{Seed: 6})}
				wire.pull(at.pulled)
				h, err := house.Build(t.Context(), house.Plan{Settings: demo.DemoSettings(sc, "bench", listen.Addr().String(), dir), Clock: clock.Real(),
					Open: wire.open, Listener: listen, Log: process.Logger(log, slog.LevelInfo)})
				if err != nil {
					t.Fatal(err)
				}
				ctx, end := context.WithCancel(t.Context())
				var own sync.WaitGroup
				own.Go(func() {
					if err := h.Run(ctx); err != nil {
						t.Error(err)
					}
				})
				time.Sleep(time.Minute)
				began := log.take()
				for left, in := time.Hour, at.pulled; left > 0; in = !in {
					pause := left
					if at.comes > 0 {
						pause = min(left, at.comes)
						wire.pull(!in)
					}
					time.Sleep(pause)
					left -= pause
				}
				hour := log.take()
				if len(hour) > at.most {
					t.Errorf("%d lines in an idle hour, want %d at most:\n%s", len(hour), at.most, strings.Join(hour, "\n"))
				}
				for _, line := range append(began, hour...) {
					if !structured.MatchString(line) {
						t.Errorf("not structured: %s", line)
					}
				}
				t.Logf("%d lines in the first minute, %d in the hour", len(began), len(hour))
				end()
				own.Wait()
				wire.serving.Wait()
			})
		})
	}
}
