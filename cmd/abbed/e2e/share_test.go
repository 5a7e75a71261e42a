package e2e_test

import (
	"context"
	"log/slog"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// mostShare is the figure of the design: how much longer the host may make a
// run than the printer alone would.
const mostShare = 0.01

// waits adds up how long the printer waited for its next command, and how long
// it was busy with one.
type waits struct {
	mu         sync.Mutex
	at         time.Time
	idle, busy time.Duration
	lines      int
}

// trace is told each line of the dialogue.
func (w *waits) trace(dir, line string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := time.Now()
	if strings.Contains(line, "G28") && dir == ">" {
		w.idle, w.busy, w.lines, w.at = 0, 0, 0, time.Time{} // before it the host waits on purpose
	}
	switch {
	case dir == ">" && !w.at.IsZero():
		w.idle += now.Sub(w.at)
		w.at = now
		w.lines++
	case dir == ">":
		w.at = now
	case strings.HasPrefix(line, "ok"):
		w.busy += now.Sub(w.at)
		w.at = now
	}
}

// BenchmarkHostShare does a short repeat test at real speed over a
// pseudo-terminal, with everything kept on disk, and tells how long the printer
// waited for the host from homing on: from its ok to the next command. It takes about a
// minute. Each touch costs the host a write to the disk.
func BenchmarkHostShare(b *testing.B) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		b.Fatal(err)
	}
	path, stop, err := bench.Pty(bench.New(sc, bench.Options{Seed: 1, Speed: 1}))
	if err != nil {
		b.Skipf("no pseudo-terminals here: %v", err)
	}
	defer stop()
	s := demo.DemoSettings(sc, path, "127.0.0.1:0", b.TempDir())
	s.Repeat = config.Repeat{Rounds: 4, Move: 12, RowHalf: 20, RowStep: 10, Passes: 3}
	var w waits
	h, err := house.Build(b.Context(), house.Plan{Settings: s, Clock: clock.Real(), Log: slog.New(slog.DiscardHandler), Trace: w.trace})
	if err != nil {
		b.Fatal(err)
	}
	token, err := os.ReadFile(h.Access.TokenFile())
	if err != nil {
		b.Fatal(err)
	}
	var running sync.WaitGroup
	ctx, end := context.WithCancel(b.Context())
	running.Go(func() { _ = h.Run(ctx) })
	defer running.Wait()
	defer end()
	c := client.New(h.URL(), strings.TrimSpace(string(token)))
	var run api.Run
	if err := client.Patiently(b.Context(), func() error { run, err = c.StartRun(b.Context(), "repeat"); return err }); err != nil {
		b.Fatal(err)
	}
	how := api.Confirm{Person: "the benchmark"}
	for _, caution := range run.Cautions {
		how.Cautions = append(how.Cautions, caution.ID)
	}
	if err := c.Confirm(b.Context(), run.ID, how); err != nil {
		b.Fatal(err)
	}
	run, err = c.Wait(b.Context(), run.ID, func(r api.Run) bool { return r.State.Over() })
	if err != nil || run.State != api.Done {
		b.Fatalf("%s, %v", run.State, err)
	}
	for b.Loop() { // the figures are those of the one run
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	share := w.idle.Seconds() / w.busy.Seconds()
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(w.busy.Seconds(), "busy-s")
	b.ReportMetric(1e3*w.idle.Seconds(), "waited-ms")
	b.ReportMetric(100*share, "share-%")
	b.ReportMetric(float64(run.Touches), "touches")
	b.ReportMetric(float64(w.lines), "lines")
	if share > mostShare {
		b.Errorf("the printer waited for the host for %.2f %% of its busy time, at most %.0f %%", 100*share, 100*mostShare)
	}
}
