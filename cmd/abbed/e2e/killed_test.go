package e2e_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime/debug"
	"slices"
	"sync"
	"testing"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/serve"
	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// killed is how often TestKilledAnywhere kills the daemon's process; beAbbed has
// this program be what it kills.
var (
	killed    = flag.Int("killed", often(150, 60), "how often TestKilledAnywhere kills the daemon's process")
	beAbbed   = flag.Float64("be-abbed", 0, "be `abbed serve` with the arguments that follow, so many times faster than real time, for TestKilledAnywhere")
	callAbbed = flag.Bool("call-abbed", false, "be `abbed` with the arguments that follow, for what changes the process that does it")
)

// TestMain lets the tests' own binary be the daemon that is killed: the same
// serve, in the bench's time.
func TestMain(m *testing.M) {
	flag.Parse()
	if *callAbbed {
		os.Exit(commands.Main(context.Background(), flag.Args(), os.Stdout, os.Stderr))
	}
	if *beAbbed > 0 {
		c := serve.ServeAt(clock.Fast(*beAbbed))
		c.SetArgs(flag.Args())
		if err := c.ExecuteContext(context.Background()); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(console.ExitCould)
		}
		os.Exit(console.ExitDone)
	}
	// Hundreds of short jobs: a fifth of their time went into collecting garbage.
	debug.SetGCPercent(400)
	limit := debug.SetMemoryLimit(-1)
	code := m.Run()
	// A limit that one test's serve sets stays for all behind it, and has the collector
	// run without end: the process of the tests is larger than a daemon.
	if left := debug.SetMemoryLimit(-1); left != limit {
		fmt.Fprintf(os.Stderr, "a test left a memory limit of %d bytes behind: have it set GOMEMLIMIT, as TestBeyondNeedsSettings does\n", left)
		code = max(code, 1)
	}
	os.Exit(code)
}

// killedSpeed is how much faster than real time the process lives that is killed:
// slower than the demo, since two dozen of them share the machine.
const killedSpeed = 20

// TestKilledAnywhere kills the process of the daemon (kill -9) at random moments
// of a run, of its analysis, of apply and of undo, beside a virtual printer on a
// real pseudo-terminal. A new process finds what was confirmed: touches shown a
// second ago, every record, the table to its digest; whatever is off in the
// printer is owed; and the map is whole, or a person decides and it is. That
// process is the next to be killed. Most of the time is spent waiting for the
// line, so that many lives go on at once.
func TestKilledAnywhere(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	if *killed < 12 {
		t.Fatalf("-killed %d: 12 at least, so that each act is met", *killed)
	}
	k := killer{sc: lookup(t, "twist-level"), found: map[string]int{}}
	k.base = measured(t, k.sc, killSeed)
	k.maps(t)
	lives := min(24, *killed/2)
	var all sync.WaitGroup
	for n := range lives {
		all.Go(func() {
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				k.live(t, n, *killed/lives+min(1, max(0, *killed%lives-n)))
			})
		})
	}
	all.Wait()
	for _, what := range []string{"run", "analysis", "apply", "undo"} {
		if k.kills[what] < *killed/15 {
			t.Errorf("too few in %s: %v", what, k.kills)
		}
	}
	t.Logf("%d kills: %v; found %v", *killed, k.kills, k.found)
}

// killer kills, and says what was found.
type killer struct {
	sc            bench.Scenario
	base          string
	before, after [][]float64
	touches       int           // of a whole run
	applying      time.Duration // how long an apply takes here
	judging       time.Duration // how long an analysis takes

	mu    sync.Mutex
	kills map[string]int
	found map[string]int
}

const killSeed = 2

// finds notes a kill and what was found after it.
func (k *killer) finds(what, found string, args ...any) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.kills == nil {
		k.kills = map[string]int{}
	}
	k.kills[what]++
	k.found[what+": "+fmt.Sprintf(found, args...)]++
}

// live has one daemon after the other killed on the same state directory: in
// runs, or on a table in its analysis, in apply and in undo.
func (k *killer) live(t *testing.T, n, kills int) {
	rnd := rand.New(rand.NewPCG(uint64(n), 31))
	dir := memoryDir(t)
	if n%6 != 0 {
		dir = image(t, k.base)
	}
	at := k.stand(t, dir)
	d := at.serve(t)
	for left := kills; left > 0 && !t.Failed(); left-- {
		switch {
		case n%6 == 0:
			d = k.run(t, at, d, rnd)
		case left%3 == 0:
			d = k.analysis(t, at, d, rnd)
		default:
			d = k.correction(t, at, d, rnd)
		}
	}
	d.gone()
}

// maps learns the printer's map before and after the correction.
func (k *killer) maps(t *testing.T) {
	at := k.stand(t, image(t, k.base))
	d := at.serve(t)
	k.before = at.printer.Nodes()
	runs, err := d.api.Runs(t.Context())
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	k.touches = runs[0].Touches
	began := time.Now()
	if _, err := d.api.Analysis(t.Context(), runs[0].ID); err != nil {
		t.Fatal(err)
	}
	k.judging, began = time.Since(began), time.Now()
	if _, err := at.correct(t.Context(), d, func() {}); err != nil {
		t.Fatal(err)
	}
	k.after, k.applying = at.printer.Nodes(), time.Since(began)
	d.gone()
	if equalNodes(k.before, k.after) {
		t.Fatal("the correction does nothing")
	}
}

// stand is a printer on its pseudo-terminal with a state directory.
type stand struct {
	killer  *killer
	printer *bench.Printer
	port    string
	dir     string

	watching sync.WaitGroup
}

func (k *killer) stand(t *testing.T, dir string) *stand {
	t.Helper()
	printer := bench.New(k.sc, bench.Options{Seed: killSeed, Speed: 1000})
	port, unplug, err := bench.Pty(printer)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unplug() })
	return &stand{killer: k, printer: printer, port: port, dir: dir}
}

// serve starts a process, and waits until it has the printer.
func (s *stand) serve(t *testing.T) *served {
	t.Helper()
	d := startServe(t, s.port, s.dir, s.killer.sc, os.Args[0], fmt.Sprintf("-be-abbed=%d", killedSpeed), "--")
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	untilPrinter(t, ctx, d.api, func(p api.Printer) bool { return p.Link == api.Ready })
	return d
}

// dies kills the process after a while.
func (d *served) dies(after time.Duration) {
	time.AfterFunc(after, func() { _ = d.cmd.Process.Kill() })
}

// diesWriting kills it a moment after the printer's map begins to change.
func (s *stand) diesWriting(d *served, after time.Duration) {
	was := s.printer.Nodes()
	s.watching.Go(func() {
		tick := time.NewTicker(200 * time.Microsecond)
		defer tick.Stop()
		for end := time.Now().Add(30 * time.Second); equalNodes(was, s.printer.Nodes()) && time.Now().Before(end); {
			<-tick.C
		}
		time.AfterFunc(after, func() { _ = d.cmd.Process.Kill() })
	})
}

// gone kills the process, if it lives, and waits for its end.
func (d *served) gone() {
	_ = d.cmd.Process.Kill()
	_ = d.cmd.Wait()
}

// correct signs off and applies the table of the only run; if it is applied
// already it is undone. It dies at the beginning of that.
func (s *stand) correct(ctx context.Context, d *served, dies func()) (seen correctionSeen, err error) {
	p, o := &demo.Person{API: d.api, Name: "the played person"}, &ask.Outcome{}
	a, err := d.api.Applied(ctx)
	if err != nil {
		return seen, err
	}
	if a.State == api.Kept {
		seen = correctionSeen{signed: true, kept: true, undoing: true}
		dies()
		if err := errors.Join(d.api.Undo(ctx), p.Settled(ctx, api.Undone)); err != nil {
			return seen, err
		}
		seen.undone = true
		return seen, nil
	}
	runs, err := d.api.Runs(ctx)
	if err != nil || len(runs) != 1 {
		return seen, fmt.Errorf("%d runs: %w", len(runs), err)
	}
	if o.Table, err = d.api.Table(ctx, runs[0].ID); err != nil || o.Table.Digest == nil {
		return seen, fmt.Errorf("no table: %+v %w", o.Table.Refused, err)
	}
	p.Phase = func(string) { seen.signed = true; dies() }
	if err := p.Apply(ctx, o); err != nil {
		return seen, err
	}
	seen.kept = true
	return seen, nil
}

// correction kills in apply, or in undo if the table is applied.
func (k *killer) correction(t *testing.T, at *stand, d *served, rnd *rand.Rand) *served {
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	seen, err := at.correct(ctx, d, func() {
		if rnd.IntN(3) == 0 { // at any moment; most of the time is spent looking first
			d.dies(time.Duration(1 + rnd.Int64N(int64(k.applying))))
		} else {
			at.diesWriting(d, time.Duration(rnd.IntN(6000))*time.Microsecond)
		}
	})
	d.gone()
	at.watching.Wait()
	if !seen.signed {
		t.Fatalf("%+v: %v", seen, err)
	}
	if rnd.IntN(2) == 0 {
		at.printer.Restart() // the power went for both
	}
	d = at.serve(t)
	was := foundWhole(t, d.api, at.printer, k.before, k.after, seen, rnd)
	k.finds(map[bool]string{false: "apply", true: "undo"}[seen.undoing], "%s", was)
	return d
}

// run kills in a run.
func (k *killer) run(t *testing.T, at *stand, d *served, rnd *rand.Rand) *served {
	had, err := d.api.Runs(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var history []shownAt
	gaugings, last := 0, rnd.IntN(k.touches)
	p := &demo.Person{API: d.api, Feel: at.printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute) // nobody waits for the dead
	defer cancel()
	p.Seen = func(r api.Run) {
		history = append(history, shownAt{time.Now(), r.Touches})
		gaugings = r.Gaugings
		if r.Touches >= last {
			after := time.Duration(rnd.IntN(100)) * time.Millisecond
			d.dies(after)
			time.AfterFunc(after+100*time.Millisecond, cancel)
		}
	}
	_, saw := p.Measure(ctx, "repeat", "gauging", "survey")
	sure := secondAgo(history)
	d.gone()
	d = at.serve(t)
	runs, err := d.api.Runs(t.Context())
	runs = slices.DeleteFunc(runs, func(r api.Run) bool {
		return slices.ContainsFunc(had, func(h api.Run) bool { return h.ID == r.ID && h.Touches == r.Touches && h.State == r.State })
	})
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d new runs of %d touches, %v, %v", len(runs), len(history), saw, err)
	}
	r := runs[0]
	if r.State != api.Done && (r.State != api.Failed || r.Error == nil || r.Error.Code != "interrupted") || r.Touches < sure || r.Gaugings < gaugings {
		t.Errorf("the run is %s, %+v: %d touches of %d, %d records of %d", r.State, r.Error, r.Touches, sure, r.Gaugings, gaugings)
	}
	if _, err := d.api.Analysis(t.Context(), r.ID); err != nil {
		t.Errorf("the analysis of what is there: %v", err)
	}
	k.finds("run", "%s in %s", r.State, r.Step)
	k.putBack(t, at, d)
	return d
}

// putBack holds what is off in the printer to what is owed, and has it put back.
func (k *killer) putBack(t *testing.T, at *stand, d *served) {
	t.Helper()
	pr, err := d.api.Printer(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	s := at.printer.Safety()
	for name, on := range map[string]bool{"levelling": s.Levelling, "limits": s.Limits} {
		if !on && !slices.Contains(pr.Owed, name) {
			t.Errorf("%s is off in the printer, and owed is %v", name, pr.Owed)
		}
	}
	if len(pr.Owed) == 0 {
		return
	}
	if err := d.api.Resolve(t.Context(), "finish"); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	untilPrinter(t, ctx, d.api, func(p api.Printer) bool { return len(p.Owed) == 0 })
	if s := at.printer.Safety(); !s.Levelling || !s.Limits {
		t.Errorf("after putting back: levelling on %v, limits on %v", s.Levelling, s.Limits)
	}
}

// analysis kills while findings and table are made; a new process makes the same.
func (k *killer) analysis(t *testing.T, at *stand, d *served, rnd *rand.Rand) *served {
	runs, err := d.api.Runs(t.Context())
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	d.dies(time.Duration(1 + rnd.Int64N(int64(2*k.judging))))
	_, errA := d.api.Analysis(t.Context(), runs[0].ID)
	was, errT := d.api.Table(t.Context(), runs[0].ID)
	d.gone()
	k.finds("analysis", "answered %v, table %v", errA == nil, errT == nil)
	d = at.serve(t)
	is, err := d.api.Table(t.Context(), runs[0].ID)
	if err != nil || is.Digest == nil || errT == nil && (was.Digest == nil || *is.Digest != *was.Digest) {
		t.Errorf("the table is another: %v, %v", is.Refused, err)
	}
	return d
}
