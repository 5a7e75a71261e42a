package e2e_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"runtime"
	"runtime/pprof"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/gcode/bench"
)

var (
	soakHours = flag.Float64("soak.hours", 1, "how many simulated hours jobs are done with random faults")
	soakSeed  = flag.Uint64("soak.seed", 1, "of the faults")
)

// TestSoak has jobs done one after the other for simulated hours, a random fault
// striking at a random command of each. After each the printer can be used
// again and its map is as it was; at the end no goroutine and no descriptor is
// gained, and the store is sound.
//
//	go test ./cmd/abbed/e2e -run TestSoak -soak.hours 24 -v
func TestSoak(t *testing.T) {
	b := &faultBoard{sc: lookup(t, "beam-twist"), dir: t.TempDir(), cells: map[string]string{}}
	synctest.Test(t, b.prepare)
	dir := t.TempDir()
	before := descriptors(t)
	synctest.Test(t, func(t *testing.T) { soak(t, b, dir) })
	if after := descriptors(t); after > before {
		t.Errorf("%d descriptors before, %d after", before, after)
	}
	soundStore(t, dir)
}

func soak(t *testing.T, b *faultBoard, dir string) {
	c := b.begin(t, dir, "")
	defer c.close()
	c.cancel() // the bound of a cell is too short
	c.ctx, c.cancel = context.WithTimeout(t.Context(), time.Duration((*soakHours+12)*float64(time.Hour)))
	rnd := rand.New(rand.NewPCG(*soakSeed, 0x50a4))
	began, jobs := time.Now(), 0
	ends := map[string]int{}
	goroutines, files := 0, 0
	for time.Since(began).Hours() < *soakHours && !t.Failed() {
		fault := bench.Faults()[rnd.IntN(len(bench.Faults()))]
		c.fault = fault
		c.printer.Inject(bench.Fault{Name: fault, When: fmt.Sprint(1 + rnd.IntN(700))})
		o, err := c.person().WholeJob(c.ctx)
		c.printer.Calm()
		if err == nil {
			c.same(o)
		}
		ends[endOf(err)]++
		c.bringBack(fault)
		jobs++
		g, f := c.held()
		if jobs == 1 {
			goroutines, files = g, f
			continue
		}
		for range 6 { // what only takes its time to end is not gained
			if g > goroutines || f > files {
				g, f = c.held()
			}
		}
		if g > goroutines || f > files {
			t.Errorf("after %d jobs (%s) %d goroutines and %d descriptors, after the first %d and %d", jobs, fault, g, f, goroutines, files)
			_ = pprof.Lookup("goroutine").WriteTo(t.Output(), 1)
		}
	}
	t.Logf("%d jobs in %.1f simulated hours", jobs, time.Since(began).Hours())
	for _, k := range slices.Sorted(maps.Keys(ends)) {
		t.Logf("%4d %s", ends[k], k)
	}
}

// bringBack does what a person does after whatever happened: reset a printer that
// is silent, take back what is unfinished, have put back what is owed.
func (c *faultCase) bringBack(fault string) {
	c.t.Helper()
	runs, err := c.api.Runs(c.ctx)
	if err == nil && len(runs) > 0 && !runs[0].State.Over() {
		_, _ = c.api.Stop(c.ctx) // the person has gone away from a run that waits for them
		_, _ = c.api.Wait(c.ctx, runs[0].ID, func(r api.Run) bool { return r.State.Over() })
	}
	p := c.revive()
	switch a := c.settledState(); a.State {
	case api.Kept:
		c.undo()
	case api.Unfinished:
		if err := c.api.Resolve(c.ctx, "take-back"); err != nil {
			c.t.Errorf("%s: take back: %v", fault, err)
		}
		if a := c.settledState(); a.State != api.PutBack && a.State != api.Undone {
			c.t.Errorf("%s: taken back: %s %v", fault, a.State, a.Error)
		}
	}
	if p = c.printerNow(); len(p.Owed) > 0 {
		if err := c.api.Resolve(c.ctx, "finish"); err != nil {
			c.t.Errorf("%s: put back: %v", fault, err)
		}
		for end := time.Now().Add(10 * time.Minute); len(p.Owed) > 0 && time.Now().Before(end); p = c.printerNow() {
			wait(c.t)
		}
		if len(p.Owed) > 0 {
			c.t.Errorf("%s: still owed: %v", fault, p.Owed)
		}
	}
	c.fault = "no-trigger" // its contacts stay in the printer's log
	c.unharmed()
	c.untouched(fault)
}

// held counts what is held while nothing goes on.
func (c *faultCase) held() (goroutines, files int) {
	c.world.transport.CloseIdleConnections()
	time.Sleep(3 * time.Minute)
	synctest.Wait()
	return runtime.NumGoroutine(), descriptors(c.t)
}

func endOf(err error) string {
	var e *api.Error
	switch {
	case err == nil:
		return "recovered"
	case errors.As(err, &e):
		return "stopped: " + e.Code
	}
	return "stopped: the run failed, or the correction is unfinished"
}

func descriptors(t *testing.T) int {
	t.Helper()
	all, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("descriptors cannot be counted here")
	}
	return len(all)
}

// soundStore reads everything that was kept.
func soundStore(t *testing.T, dir string) {
	t.Helper()
	s, notice, err := store.Open(t.Context(), dir)
	if err != nil || notice.Text != "" {
		t.Fatalf("the store: %v %q", err, notice.Text)
	}
	defer s.Close()
	rows, err := s.Runs(t.Context())
	if err != nil || len(rows) == 0 {
		t.Fatalf("%d runs: %v", len(rows), err)
	}
	for _, r := range rows {
		if events, err := s.Events(t.Context(), r.ID, 0); err != nil || len(events) == 0 || r.State == "" {
			t.Errorf("run %s: %d events, state %q: %v", r.ID, len(events), r.State, err)
		}
	}
	if _, err := s.AppliedTail(t.Context(), 100000); err != nil {
		t.Error(err)
	}
}
