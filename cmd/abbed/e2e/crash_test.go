package e2e_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/store/storetest"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// crashes is how often the daemon dies in each of the two tests below; half in
// the run, half in apply and undo. `-crashes 1500` makes 3,000.
var crashes = flag.Int("crashes", 150, "how often the daemon dies in TestCrashRun and in TestCrashCorrection")

// deathsHere is how often the daemon dies here: the race detector makes
// everything ten times slower.
func deathsHere() int {
	if testing.Short() {
		return min(*crashes, 10)
	}
	return *crashes
}

// image copies a state directory that nobody has open.
func image(t *testing.T, from string) string {
	t.Helper()
	to := memoryDir(t)
	for _, name := range []string{"abbed.db", "token", "abbed.begun"} {
		b, err := os.ReadFile(filepath.Join(from, name))
		if err == nil {
			err = os.WriteFile(filepath.Join(to, name), b, 0o600)
		}
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Error(err)
		}
	}
	return to
}

// lot decides at the k-th death what the disk keeps of what was not synced:
// nothing at each third one, else any part of it.
func lot(k int) *rand.Rand {
	if k%3 == 0 {
		return nil
	}
	return rand.New(rand.NewPCG(uint64(k), 17))
}

// death kills a daemon at one line of its dialogue, with the power: what the disk
// has of the state directory is kept aside, and the line to the printer is cut,
// before another byte goes out.
type death struct {
	t    *testing.T
	disk *storetest.Disk
	wire *cable
	at   int // of so many lines; 0: never
	lot  *rand.Rand

	mu    sync.Mutex
	lines int
	left  string // the state directory as the death left it
}

func (d *death) hear(_, _ string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.lines++; d.lines == d.at {
		d.left = d.disk.Image(d.t, d.lot)
		d.wire.pull(true)
	}
}

func (d *death) came() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.left
}

// measured makes a state directory with a run that offers a table, and returns
// the nodes before and after its correction.
func measured(t *testing.T, sc bench.Scenario, seed uint64) (dir string) {
	dir = memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: seed})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		if run, err := p.Measure(t.Context(), "repeat", "gauging", "survey"); err != nil || run.State != api.Done {
			t.Fatalf("%s, %v", run.State, err)
		}
	})
	return dir
}

// progress is what was confirmed to the person before the death.
type correctionSeen struct{ signed, kept, undoing, undone bool }

// correctOnce signs off, applies and undoes the table of the only run. What is
// answered after the death, from the line that came last, confirms nothing.
func correctOnce(ctx context.Context, w *world, d *death, seen *correctionSeen) error {
	p := &demo.Person{API: w.api, Name: "the played person"}
	runs, err := w.api.Runs(ctx)
	if err != nil || len(runs) != 1 {
		return fmt.Errorf("%d runs: %w", len(runs), err)
	}
	table, err := w.api.Table(ctx, runs[0].ID)
	if err != nil || table.Digest == nil {
		return fmt.Errorf("no table: %+v %w", table.Refused, err)
	}
	seen.signed = true
	if err := p.Apply(ctx, &ask.Outcome{Table: table}); err != nil {
		return err
	}
	if d.came() != "" {
		return errPulled
	}
	seen.kept, seen.undoing = true, true
	if err := p.API.Undo(ctx); err != nil {
		return err
	}
	if err := p.Settled(ctx, api.Undone); err != nil {
		return err
	}
	seen.undone = d.came() == ""
	return nil
}

// TestCrashCorrection kills the daemon at every kind of moment of apply and
// undo, with and without the printer's power. Afterwards the map is whole, or
// what is half written is shown and no run begins; by the person's word it is
// then the old or the new one, and kept.
func TestCrashCorrection(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	const seed = 2
	base := measured(t, sc, seed)
	var before, after [][]float64
	var first, last int
	whole := image(t, base)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: seed})
		wire := &cable{printer: printer}
		d := &death{wire: wire}
		wire.trace = d.hear
		w := open(t, whole, sc, wire)
		defer w.close()
		ready(t, w)
		before, first = printer.Nodes(), d.lines
		o := &ask.Outcome{}
		p := &demo.Person{API: w.api, Name: "the played person"}
		runs, _ := w.api.Runs(t.Context())
		if o.Table, err = w.api.Table(t.Context(), runs[0].ID); err != nil || o.Table.Digest == nil {
			t.Fatalf("%+v %v", o.Table.Refused, err)
		}
		if err := p.Apply(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		after = printer.Nodes()
		if err := errors.Join(w.api.Undo(t.Context()), p.Settled(t.Context(), api.Undone)); err != nil {
			t.Fatal(err)
		}
		last = d.lines
	})
	if equalNodes(before, after) || last-first < 40 {
		t.Fatalf("the correction does nothing, or in %d lines only", last-first)
	}
	var mu sync.Mutex
	states := map[api.AppliedState]int{}
	t.Run("deaths", func(t *testing.T) {
		for k := range deathsHere() {
			t.Run(fmt.Sprint(k), func(t *testing.T) {
				t.Parallel()
				rnd := rand.New(rand.NewPCG(uint64(k), 5))
				dir := image(t, base)
				disk, outside := storetest.Watch(t, dir), t // of the bubble
				synctest.Test(t, func(t *testing.T) {
					printer := bench.New(sc, bench.Options{Seed: seed})
					wire := &cable{printer: printer}
					d := &death{t: outside, disk: disk, wire: wire, at: first + 1 + rnd.IntN(last-first), lot: lot(k)}
					wire.trace = d.hear
					w := open(t, dir, sc, wire)
					ready(t, w)
					var seen correctionSeen
					err := correctOnce(t.Context(), w, d, &seen)
					w.close()
					left := d.came()
					if left == "" {
						t.Fatalf("line %d never came: %v", d.at, err)
					}
					if k%2 == 0 {
						printer.Restart() // the power went for both
					}
					state := afterDeath(t, left, sc, printer, before, after, seen, rnd)
					mu.Lock()
					states[state]++
					mu.Unlock()
				})
			})
		}
	})
	t.Logf("%d deaths in %d lines of apply and undo: found %v", deathsHere(), last-first, states)
	if deathsHere() >= 100 && states[api.Unfinished] < deathsHere()/3 {
		t.Errorf("too few deaths in the middle: %v", states)
	}
}

// afterDeath starts a new daemon on what a death left, and returns the state in
// which it found the correction.
func afterDeath(t *testing.T, left string, sc bench.Scenario, printer *bench.Printer, before, after [][]float64, seen correctionSeen, rnd *rand.Rand) api.AppliedState {
	t.Helper()
	w := open(t, left, sc, &cable{printer: printer})
	defer w.close()
	ready(t, w)
	return foundWhole(t, w.api, printer, before, after, seen, rnd)
}

// foundWhole holds what a new daemon says of the correction to the printer's
// map, and has a person decide where it is half written. It returns the state in
// which it was found.
func foundWhole(t *testing.T, c *client.Client, printer *bench.Printer, before, after [][]float64, seen correctionSeen, rnd *rand.Rand) api.AppliedState {
	t.Helper()
	a, err := c.Applied(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	was, now := a.State, printer.Nodes()
	old, new := equalNodes(now, before), equalNodes(now, after)
	switch {
	case a.State == api.Unfinished:
	case a.State == api.Kept && new, a.State == api.NoneApplied && old, (a.State == api.Undone || a.State == api.PutBack) && old:
	default:
		t.Errorf("shown as %s, but the map is old %v, new %v", a.State, old, new)
	}
	if seen.kept && !seen.undoing && a.State != api.Kept || seen.undone && a.State != api.Undone ||
		seen.kept && a.State == api.NoneApplied {
		t.Errorf("confirmed %+v, found %s", seen, a.State)
	}
	if a.State != api.Unfinished {
		return was
	}
	var e *api.Error
	if _, err := c.StartRun(t.Context(), "repeat"); !errors.As(err, &e) || e.Code != "owed" {
		t.Errorf("a run while the map is half written: %v", err)
	}
	choice := []string{"finish", "take-back"}[rnd.IntN(2)]
	if err := c.Resolve(t.Context(), choice); err != nil {
		t.Fatal(err)
	}
	for a.State == api.Unfinished || a.State == api.Writing || a.State == api.Verifying {
		wait(t)
		if a, err = c.Applied(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	want := before
	if a.State == api.Kept {
		want = after
	}
	if choice == "take-back" && a.State == api.Kept || !equalNodes(printer.Nodes(), want) || !equalNodes(printer.Kept(), want) {
		t.Errorf("%s gave %s: the map is whole %v, kept so %v", choice, a.State, equalNodes(printer.Nodes(), want), equalNodes(printer.Kept(), want))
	}
	return was
}

// left is a death in the middle of a run: what it left, and what had been
// confirmed by then.
type left struct {
	dir               string
	touches, gaugings int
	levelling, limits bool
	begun             bool
}

// shownAt is how many touches a person had been shown, and when.
type shownAt struct {
	at      time.Time
	touches int
}

// secondAgo is how many touches had been shown a second ago: those must be on
// the disk.
func secondAgo(history []shownAt) int {
	for _, h := range slices.Backward(history) {
		if time.Since(h.at) >= time.Second {
			return h.touches
		}
	}
	return 0
}

// TestCrashRun kills the daemon at random lines of a whole run, seen from the
// disk: what was confirmed by then is there, the run is shown as interrupted,
// and whatever was off in the printer is owed.
func TestCrashRun(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	const seed = 3
	base := memoryDir(t)
	var deaths []left
	disk := storetest.Watch(t, base)
	keep := func(k int) string { return disk.Image(t, lot(k)) } // beyond the bubble
	synctest.Test(t, func(t *testing.T) {
		rnd := rand.New(rand.NewPCG(seed, 8))
		printer := bench.New(sc, bench.Options{Seed: seed})
		wire := &cable{printer: printer}
		var mu sync.Mutex
		var now api.Run // as last confirmed to the person
		var history []shownAt
		const lines = 2500 // about so many of a run; see the check below
		wire.trace = func(dir, _ string) {
			mu.Lock()
			defer mu.Unlock()
			if len(deaths) == deathsHere() || rnd.IntN(lines) >= deathsHere() {
				return
			}
			s := printer.Safety()
			deaths = append(deaths, left{keep(len(deaths)), secondAgo(history), now.Gaugings, s.Levelling, s.Limits, now.ID != ""})
		}
		w := open(t, base, sc, wire)
		defer w.close()
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		p.Seen = func(r api.Run) {
			mu.Lock()
			defer mu.Unlock()
			now, history = r, append(history, shownAt{time.Now(), r.Touches})
		}
		if run, err := p.Measure(t.Context(), "repeat", "gauging", "survey"); err != nil || run.State != api.Done {
			t.Fatalf("%s, %v", run.State, err)
		}
		wire.trace = nil
	})
	if len(deaths) < deathsHere()/2 {
		t.Errorf("%d deaths only", len(deaths))
	}
	off := 0
	for k, m := range deaths {
		off += m.hold(t, k, sc)
	}
	t.Logf("%d deaths in a run, %d of them with something switched off in the printer", len(deaths), off)
}

// hold starts a daemon on what a death left, without a printer; it returns 1 if
// something was off.
func (m left) hold(t *testing.T, k int, sc bench.Scenario) int {
	t.Helper()
	listen := newMemoryListener()
	h, err := house.Build(t.Context(), house.Plan{
		Settings: demo.DemoSettings(sc, "bench", listen.Addr().String(), m.dir), Clock: clock.Real(), Listener: listen,
		Open: func(context.Context) (io.ReadWriteCloser, error) { return nil, errPulled },
		Log:  slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		t.Fatalf("death %d: %v", k, err)
	}
	defer h.Store.Close()
	runs, err := h.Daemon.Runs()
	if err != nil || len(runs) > 1 || len(runs) == 0 && m.begun {
		t.Fatalf("death %d: %d runs, %v, confirmed %+v", k, len(runs), err, m)
	}
	if len(runs) == 1 {
		r := runs[0]
		if r.State != api.Failed && r.State != api.Done || r.State == api.Failed && (r.Error == nil || r.Error.Code != "interrupted") {
			t.Errorf("death %d: the run is %s, %+v", k, r.State, r.Error)
		}
		if r.Touches < m.touches || r.Gaugings < m.gaugings {
			t.Errorf("death %d: %d touches and %d records of %d and %d that were confirmed", k, r.Touches, r.Gaugings, m.touches, m.gaugings)
		}
	}
	owed := h.Daemon.Printer().Owed
	for name, on := range map[string]bool{"levelling": m.levelling || !sc.LevelledStart, "limits": m.limits} {
		if !on && !slices.Contains(owed, name) {
			t.Errorf("death %d: %s is off in the printer, and owed is %v", k, name, owed)
		}
	}
	if !m.levelling || !m.limits {
		return 1
	}
	return 0
}
