package e2e_test

import (
	"context"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/config"
	"abbed/daemon/client"
	"abbed/daemon/web/webtest"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

var (
	fleetSeeds = flag.Int("fleet.seeds", often(2, 1), "how many seeds of each virtual printer do the whole job")
	fleetOnly  = flag.String("fleet.only", "", "only the virtual printers with this in their name")
	fleetOut   = flag.String("fleet.out", "", "directory for the results of each job")
)

// table collects what the jobs gave.
type fleetTable struct {
	mu   sync.Mutex
	rows []fleetRow
}

type fleetRow struct {
	name    string
	seed    uint64
	finding string
	table   bool
	rms     float64 // mm, of addition + true gap error at the nodes inside the gauged area
	presses float64
	err     error
}

// TestFleet has the played person do the whole job on every virtual printer,
// through the wire and the API, in accelerated time. The printer knows the
// truth: the finding, the remaining gap error, and whether anything unsafe
// happened.
func TestFleet(t *testing.T) {
	t.Parallel()
	var all fleetTable
	t.Run("jobs", func(t *testing.T) {
		for _, sc := range bench.Scenarios() {
			if !strings.Contains(sc.Name, *fleetOnly) {
				continue
			}
			seeds := *fleetSeeds
			if testing.Short() {
				seeds = min(seeds, 1) // the race detector makes everything ten times slower
			}
			for seed := range seeds {
				t.Run(fmt.Sprintf("%s/%d", sc.Name, seed+1), func(t *testing.T) {
					t.Parallel()
					dir := memoryDir(t)
					synctest.Test(t, func(t *testing.T) { all.add(job(t, dir, sc, uint64(seed+1))) })
				})
			}
		}
	})
	all.report(t)
}

// job does one whole job in a bubble.
func job(t *testing.T, dir string, sc bench.Scenario, seed uint64) fleetRow {
	row := fleetRow{name: sc.Name, seed: seed}
	printer := bench.New(sc, bench.Options{Seed: seed})
	wire := &cable{printer: printer}
	w := open(t, dir, sc, wire)
	defer w.close()
	p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(seed, 0x9a06e)), Name: "the played person", Answer: demo.GaugesMore(6)}
	d := demo.Demo{Scenario: sc, Errs: t.Output()}
	var before [][]float64
	p.Phase = func(string) {
		if before == nil {
			before = printer.Nodes() // as the first table is about to be applied
		}
	}
	o, err := d.ToTheEnd(t.Context(), p, printer)
	if err != nil {
		t.Errorf("the job: %v", err)
		row.err = err
		return row
	}
	if *fleetOut != "" {
		if err := o.Save(filepath.Join(*fleetOut, fmt.Sprintf("%s-%d", sc.Name, seed))); err != nil {
			t.Error(err)
		}
	}
	row.finding = o.Analysis.Findings[0].ID
	row.table = o.Table.Digest != nil
	row.presses = float64(o.Presses) / float64(max(1, o.Records))
	if row.table {
		row.rms, _ = demo.Remaining(o.Table, printer.Truth())
		if after := printer.Nodes(); !equalNodes(before, after) {
			t.Errorf("undo left other nodes:\n%v\n%v", before, after)
		}
		if kept := printer.Kept(); !equalNodes(before, kept) {
			t.Errorf("undo did not have the old nodes kept:\n%v\n%v", before, kept)
		}
	}
	s := printer.Safety()
	if !s.Limits || s.Levelling != sc.LevelledStart || s.Idle != sc.IdleOff && sc.IdleOff > 0 {
		t.Errorf("not put back: limits on %v, levelling on %v (was %v), idle %v s (was %v)", s.Limits, s.Levelling, sc.LevelledStart, s.Idle, sc.IdleOff)
	}
	return row
}

func equalNodes(a, b [][]float64) bool { return slices.EqualFunc(a, b, slices.Equal[[]float64]) }

// world is a house in a bubble.
type world struct {
	t         *testing.T
	house     *house.House
	api       *client.Client
	wire      *cable
	transport interface{ CloseIdleConnections() }
	end       context.CancelFunc
	running   sync.WaitGroup
	said      *heard // its log
}

// heard is what was written, by many at once.
type heard struct {
	mu   sync.Mutex
	text strings.Builder
}

func (h *heard) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.text.Write(b)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.text.String()
}

// open builds the house of a virtual printer and lets it run.
func open(t *testing.T, dir string, sc bench.Scenario, wire *cable, change ...func(*config.Settings)) *world {
	t.Helper()
	listen := newMemoryListener()
	settings := demo.DemoSettings(sc, "bench", listen.Addr().String(), dir)
	settings.IdleOff = seconds(sc.IdleOff, settings.IdleOff)
	for _, c := range change {
		c(&settings)
	}
	said := &heard{}
	h, err := house.Build(t.Context(), house.Plan{
		Settings: settings, Clock: clock.Real(), Open: wire.open, Listener: listen, Trace: wire.trace,
		Log: slog.New(slog.NewTextHandler(io.MultiWriter(t.Output(), said), &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		t.Fatal(err)
	}
	token, err := os.ReadFile(h.Access.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	transport := listen.transport()
	checked := &webtest.Transport{Next: transport, Fail: func(err error) { t.Errorf("an answer does not fit the description: %v", err) }}
	w := &world{t: t, said: said, house: h, wire: wire, end: end, transport: transport,
		api: client.New(h.URL(), strings.TrimSpace(string(token))).Over(checked)}
	w.running.Go(func() {
		if err := h.Run(ctx); err != nil {
			t.Errorf("the house: %v", err)
		}
	})
	return w
}

func (w *world) close() {
	w.transport.CloseIdleConnections()
	w.end()
	w.running.Wait()
	w.transport.CloseIdleConnections()
	w.wire.serving.Wait()
}

func (f *fleetTable) add(r fleetRow) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.rows = append(f.rows, r)
}

// report prints the table and holds its last line to the project's figure.
func (f *fleetTable) report(t *testing.T) {
	slices.SortFunc(f.rows, func(a, b fleetRow) int {
		return strings.Compare(fmt.Sprintf("%s%6d", a.name, a.seed), fmt.Sprintf("%s%6d", b.name, b.seed))
	})
	var rms []float64
	for _, r := range f.rows {
		left := "no table"
		if r.table {
			left = fmt.Sprintf("%.1f um", 1000*r.rms)
			rms = append(rms, r.rms)
		}
		t.Logf("%-22s seed %d  %-22s %-10s %.1f presses a record  %v", r.name, r.seed, r.finding, left, r.presses, orFine(r.err))
	}
	f.own(t)
	hold(t, "all", len(f.rows), rms, 1)
}

// own holds each printer by itself, from as many tables as tell a percentile.
func (f *fleetTable) own(t *testing.T) {
	jobs, rms := map[string]int{}, map[string][]float64{}
	for _, r := range f.rows {
		jobs[r.name]++
		if r.table {
			rms[r.name] = append(rms[r.name], r.rms)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(jobs)) {
		hold(t, name, jobs[name], rms[name], 20)
	}
}

// mostLeft is the largest p95 of the remaining gap error, mm.
const mostLeft = 0.010

// hold prints the distribution of what the tables leave, and holds its 95th
// percentile where there are enough of them.
func hold(t *testing.T, name string, jobs int, rms []float64, enough int) {
	if len(rms) == 0 {
		return
	}
	slices.Sort(rms)
	p95 := rms[min(len(rms)-1, len(rms)*95/100)]
	t.Logf("%-22s %d jobs, %d tables: remaining gap error rms median %.1f um, p95 %.1f um, largest %.1f um",
		name, jobs, len(rms), 1000*rms[len(rms)/2], 1000*p95, 1000*rms[len(rms)-1])
	if len(rms) >= enough && p95 > mostLeft {
		t.Errorf("%s: p95 of the remaining gap error %.1f um, at most %.0f um", name, 1000*p95, 1000*mostLeft)
	}
}

// seconds is s as a duration, or otherwise if s is 0.
func seconds(s float64, otherwise time.Duration) time.Duration {
	if s == 0 {
		return otherwise
	}
	return time.Duration(s * float64(time.Second))
}

func orFine(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
