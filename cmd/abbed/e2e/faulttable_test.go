package e2e_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

var (
	faultOnly    = flag.String("faults.only", "", "only the cells of the table of faults with this in their name")
	faultAll     = flag.Bool("faults.all", false, "also the machines that probe straight, and with sinking Z and single-word temperatures")
	faultMachine = flag.String("faults.machine", "", "only the machines of the table of faults with this in their name")
)

// The phases of the job in which a fault strikes: while the link is made, while
// a run is in a step, while the map is written, kept, and written back.
var faultPhases = []string{"connect", "repeat", "survey", "gauging", "apply", "keep", "undo"}

// Outcomes of a cell. noOccasion: the phase has nothing that the fault could
// strike (no touch, no print of the map, no numbered line).
const (
	recovered  = "recovered"
	stopSafe   = "stopped safe"
	noOccasion = "no occasion"
	failedCell = "FAILED"
)

// faultMachines are the printers of the table: the usual one with numbered
// lines, one with plain lines, one that probes straight, one whose motors and
// words are awkward.
func faultMachines(t *testing.T) map[string]bench.Scenario {
	t.Helper()
	all := map[string]bench.Scenario{"numbered": lookup(t, "beam-twist"), "plain": lookup(t, "plain-line")}
	if !*faultAll {
		return all
	}
	odd := lookup(t, "beam-twist")
	odd.Sinks, odd.ShortTemps, odd.Chatter, odd.Waits, odd.IdleOff = 4, true, 5, 3, 60
	all["straight"], all["odd"] = lookup(t, "straight-probe"), odd
	return all
}

func lookup(t *testing.T, name string) bench.Scenario {
	t.Helper()
	sc, err := bench.Lookup(name)
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

// TestFaultTable has each fault of the bench strike in each phase of the job.
// The job recovers, with findings, table and map as without the fault; or it
// stops safe: it says why and what to do, keeps what was measured, tells the
// truth about map and switches, and the printer can be used again.
//
//	go test ./cmd/abbed/e2e -run TestFaultTable -faults.all -v
func TestFaultTable(t *testing.T) {
	t.Parallel()
	for name, sc := range faultMachines(t) {
		if !strings.Contains(name, *faultMachine) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			b := &faultBoard{sc: sc, dir: memoryDir(t), cells: map[string]string{}}
			synctest.Test(t, b.prepare)
			if t.Failed() {
				return
			}
			t.Run("cells", func(t *testing.T) {
				for _, phase := range faultPhases {
					for _, fault := range bench.Faults() {
						b.run(t, fault, phase)
					}
				}
			})
			t.Log("\n" + b.String())
		})
	}
}

// faultBoard is the table of one machine, and what its job gives without a
// fault.
type faultBoard struct {
	sc  bench.Scenario
	dir string // state after a measured run
	id  string // of that run
	ref ask.Outcome

	mu    sync.Mutex
	cells map[string]string
}

const faultSeed = 4

// smaller is a job that is small enough to be done some hundred times.
func smaller(s *config.Settings) {
	s.Repeat.Rounds, s.Repeat.RowStep = 3, 6
	s.Survey.Columns, s.Survey.Rows = 9, 3
}

// prepare does the job without a fault and keeps its state.
func (b *faultBoard) prepare(t *testing.T) {
	c := b.begin(t, b.dir, "")
	defer c.close()
	run, err := c.person().Measure(c.ctx, "repeat", "gauging", "survey")
	if err != nil {
		t.Fatal(err)
	}
	b.id = run.ID
	b.ref.Run = run
	if err := b.ref.Read(c.ctx, c.api); err != nil {
		t.Fatal(err)
	}
	if b.ref.Table.Digest == nil || len(b.ref.Analysis.Findings) == 0 {
		t.Fatalf("no table without a fault: %v", b.ref.Table.Refused)
	}
}

// run does one cell.
func (b *faultBoard) run(t *testing.T, fault, phase string) {
	name := fault + "@" + phase
	if !strings.Contains(name, *faultOnly) {
		return
	}
	t.Run(name, func(t *testing.T) {
		t.Parallel()
		dir := memoryDir(t)
		if phase == "apply" || phase == "keep" || phase == "undo" {
			if err := os.CopyFS(dir, os.DirFS(b.dir)); err != nil {
				t.Fatal(err)
			}
		}
		synctest.Test(t, func(t *testing.T) {
			at := ""
			if phase == "connect" {
				at = fault
			}
			c := b.begin(t, dir, at)
			defer c.close()
			c.fault = fault
			out := c.play(phase)
			if t.Failed() {
				out = failedCell
			}
			b.mu.Lock()
			defer b.mu.Unlock()
			b.cells[name] = out
		})
	})
}

// String is the table.
func (b *faultBoard) String() string {
	var s strings.Builder
	fmt.Fprintf(&s, "%-14s", "")
	for _, p := range faultPhases {
		fmt.Fprintf(&s, " %-34s", p)
	}
	counts := map[string]int{}
	for _, f := range bench.Faults() {
		fmt.Fprintf(&s, "\n%-14s", f)
		for _, p := range faultPhases {
			cell := b.cells[f+"@"+p]
			kind, _, _ := strings.Cut(cell, ":")
			counts[kind]++
			fmt.Fprintf(&s, " %-34s", cell)
		}
	}
	fmt.Fprintf(&s, "\n%d recovered, %d stopped safe, %d without an occasion, %d failed",
		counts[recovered], counts[stopSafe], counts[noOccasion], counts[failedCell])
	return s.String()
}

// faultCase is one cell in its bubble.
type faultCase struct {
	*world
	board   *faultBoard
	printer *bench.Printer
	fault   string
	ctx     context.Context
	cancel  context.CancelFunc
	before  [][]float64 // the printer's map, before anything
	kept    [][]float64
}

// bound is the virtual time after which a cell hangs.
const bound = 12 * time.Hour

func (b *faultBoard) begin(t *testing.T, dir, fault string) *faultCase {
	o := bench.Options{Seed: faultSeed}
	if fault != "" {
		o.Faults = []bench.Fault{{Name: fault}}
	}
	p := bench.New(b.sc, o)
	c := &faultCase{board: b, printer: p, fault: fault, before: p.Nodes(), kept: p.Kept()}
	c.ctx, c.cancel = context.WithTimeout(t.Context(), bound)
	c.world = open(t, dir, b.sc, &cable{printer: p}, smaller)
	return c
}

func (c *faultCase) close() {
	if c.ctx.Err() != nil {
		c.t.Errorf("it hung for %v", bound)
	}
	c.world.close()
	c.cancel()
}

func (c *faultCase) person() *demo.Person {
	return &demo.Person{API: c.api, Feel: c.printer.Blade, Rnd: rand.New(rand.NewPCG(faultSeed, 2)), Name: "the played person"}
}

// play has the fault strike in the phase and returns the cell.
func (c *faultCase) play(phase string) string {
	switch phase {
	case "connect":
		return c.connecting()
	case "apply", "keep", "undo":
		return c.correcting(phase)
	}
	return c.measuring(phase)
}

// connecting: the link is made in spite of the fault, or its state says why not
// and it is made once the printer is well; then the job is as without the fault.
func (c *faultCase) connecting() string {
	out := recovered
	p, ok := c.readyWithin(10 * time.Minute)
	if !ok {
		out = fmt.Sprintf("%s: link %s", stopSafe, p.Link)
		if p.Link != api.Lost && p.Link != api.Connecting || p.Sentence == "" {
			c.t.Errorf("link %s: %q", p.Link, p.Sentence)
		}
		c.revive()
	}
	c.printer.Calm()
	c.whole()
	return c.orNoOccasion(out)
}

func (c *faultCase) orNoOccasion(out string) string {
	if c.printer.Struck(c.fault) > 0 {
		return out
	}
	if out != recovered {
		c.t.Errorf("the fault never struck, but it ended as %q", out)
	}
	return noOccasion
}

// moment is when the fault strikes in a step of the run.
var moment = map[string]int{"repeat": 7, "gauging": 3, "survey": 8}

// measuring: the run comes to its end with the same findings, or it fails and
// says why.
func (c *faultCase) measuring(step string) string {
	p := c.person()
	injected := false
	var at api.Run
	p.Seen = func(r api.Run) {
		if !injected && r.Step == step && r.Progress.Done >= moment[step] {
			injected, at = true, r
			c.printer.Inject(bench.Fault{Name: c.fault})
		}
	}
	run, err := p.Measure(c.ctx, "repeat", "gauging", "survey")
	if !injected {
		c.t.Errorf("the run never came to %s: %v", step, err)
		return failedCell
	}
	if run, err = c.api.Wait(c.ctx, run.ID, func(r api.Run) bool { return r.State.Over() }); err != nil && !run.State.Over() {
		c.t.Errorf("no end: %v", err)
		return failedCell
	}
	c.printer.Calm()
	c.unharmed()
	if run.State == api.Done {
		o := &ask.Outcome{Run: run}
		if err := o.Read(c.ctx, c.api); err != nil {
			c.t.Error(err)
		}
		c.same(o)
		c.applyAndUndo(o)
		return c.orNoOccasion(recovered)
	}
	c.saidWhy(run.Error)
	var rec record.Run
	raw, err := c.api.Record(c.ctx, run.ID)
	if err == nil {
		err = json.Unmarshal(raw, &rec)
	}
	if err != nil || len(rec.Touches) < at.Touches || len(rec.Gaugings) < at.Gaugings {
		c.t.Errorf("kept %d touches and %d gaugings of %d and %d (%v)", len(rec.Touches), len(rec.Gaugings), at.Touches, at.Gaugings, err)
	}
	c.switchesAndOn()
	c.untouched("a run")
	return c.orNoOccasion(stopSafe + ": " + codeOf(run.Error))
}

// correcting: a measured table is applied and undone; the fault strikes in the
// middle of writing, at keeping, or in the middle of writing back.
func (c *faultCase) correcting(phase string) string {
	c.revive()
	o := &ask.Outcome{Run: api.Run{ID: c.board.id}}
	if err := o.Read(c.ctx, c.api); err != nil {
		c.t.Fatal(err)
	}
	if phase == "undo" {
		c.apply(o)
		if a := c.settledState(); a.State != api.Kept {
			c.t.Fatalf("applied without a fault: %s %v", a.State, a.Error)
		}
	}
	when := map[string]string{"apply": "M421:8", "keep": "M500", "undo": "M421:8"}[phase]
	c.printer.Inject(bench.Fault{Name: c.fault, When: when})
	if phase == "undo" {
		if err := c.api.Undo(c.ctx); err != nil {
			c.t.Fatal(err)
		}
	} else {
		c.apply(o)
	}
	a := c.settledState()
	c.printer.Calm()
	out := c.judge(o, phase, a)
	c.unharmed()
	return c.orNoOccasion(out)
}

// judge holds what the API says of the map against what the printer holds.
func (c *faultCase) judge(o *ask.Outcome, phase string, a api.Applied) string {
	after := plusTable(c.before, o.Table)
	want, good := after, api.Kept
	if phase == "undo" {
		want, good = c.before, api.Undone
	}
	switch a.State {
	case good:
		c.holds(want, string(a.State))
		if c.printer.Safety().Halts > 0 {
			c.printer.Restart()
		}
		c.revive()
		if phase != "undo" {
			c.undo()
		}
		return recovered
	case api.PutBack:
		c.saidWhy(a.Error)
		c.holds(c.before, "put-back")
		return fmt.Sprintf("%s: put-back, %s", stopSafe, codeOf(a.Error))
	case api.Unfinished:
		c.saidWhy(a.Error)
		c.revive()
		if _, err := c.api.StartRun(c.ctx, "repeat"); err == nil {
			c.t.Error("a run was accepted while a correction is unfinished")
		}
		// That the line died may be noticed only now: then it is tried again, as the
		// refusal says.
		if err := client.Patiently(c.ctx, func() error { return c.api.Resolve(c.ctx, "take-back") }); err != nil {
			c.t.Errorf("take back: %v", err)
		}
		end := c.settledState()
		if end.State != api.PutBack && end.State != api.Undone {
			c.t.Errorf("taken back: %s, %v", end.State, end.Error)
		}
		c.holds(c.before, "taken back")
		return fmt.Sprintf("%s: unfinished, %s", stopSafe, codeOf(a.Error))
	}
	c.t.Errorf("the correction is %s: %v", a.State, a.Error)
	return failedCell
}

func (c *faultCase) apply(o *ask.Outcome) {
	how := api.SignOff{Person: "the played person"}
	for _, k := range o.Table.Cautions {
		how.Cautions = append(how.Cautions, k.ID)
	}
	signed, err := c.api.SignOff(c.ctx, *o.Table.Digest, how)
	if err == nil {
		err = c.api.Apply(c.ctx, *o.Table.Digest, signed.Token)
	}
	if err != nil {
		c.t.Errorf("apply: %v", err)
	}
}

func (c *faultCase) undo() {
	if err := c.api.Undo(c.ctx); err != nil {
		c.t.Errorf("undo: %v", err)
		return
	}
	if a := c.settledState(); a.State != api.Undone {
		c.t.Errorf("undone: %s, %v", a.State, a.Error)
	}
	c.holds(c.before, "undone")
}

// applyAndUndo applies the table of a recovered run and undoes it.
func (c *faultCase) applyAndUndo(o *ask.Outcome) {
	if c.t.Failed() {
		return
	}
	c.apply(o)
	if a := c.settledState(); a.State != api.Kept {
		c.t.Errorf("applied: %s, %v", a.State, a.Error)
		return
	}
	c.holds(plusTable(c.before, o.Table), "applied")
	c.undo()
}

// settledState waits until nothing is being written.
func (c *faultCase) settledState() api.Applied {
	for {
		a, err := c.api.Applied(c.ctx)
		if err != nil {
			c.t.Fatalf("applied: %v", err)
		}
		if a.State != api.Writing && a.State != api.Verifying {
			return a
		}
		wait(c.t)
	}
}

// holds compares the printer's map, in force and kept, with what it should be.
func (c *faultCase) holds(want [][]float64, what string) {
	c.t.Helper()
	if got := c.printer.Nodes(); !nearNodes(got, want) {
		c.t.Errorf("%s, but the map in force is\n%v, want\n%v", what, got, want)
	}
	if got := c.printer.Kept(); !nearNodes(got, want) {
		c.t.Errorf("%s, but the map kept is\n%v, want\n%v", what, got, want)
	}
}

func (c *faultCase) untouched(what string) {
	c.t.Helper()
	if !equalNodes(c.printer.Nodes(), c.kept) || !equalNodes(c.printer.Kept(), c.kept) {
		c.t.Errorf("%s changed the printer's map", what)
	}
}

func nearNodes(a, b [][]float64) bool {
	return slices.EqualFunc(a, b, func(x, y []float64) bool {
		return slices.EqualFunc(x, y, func(p, q float64) bool { return p-q < 1e-9 && q-p < 1e-9 })
	})
}

func plusTable(before [][]float64, t api.Table) [][]float64 {
	out := make([][]float64, len(before))
	for j := range before {
		out[j] = slices.Clone(before[j])
	}
	for _, n := range t.Nodes {
		out[n.J][n.I] += n.Add
	}
	return out
}

// whole does the whole job and expects it to be as without a fault.
func (c *faultCase) whole() {
	o, err := c.person().WholeJob(c.ctx)
	if err != nil {
		c.t.Errorf("the job after it: %v", err)
		return
	}
	c.same(o)
	c.unharmed()
	c.untouched("undo")
	if s := c.printer.Safety(); !s.Limits || !s.Levelling || s.Idle != c.board.sc.IdleOff {
		c.t.Errorf("left behind: limits on %v, levelling on %v, idle %v s", s.Limits, s.Levelling, s.Idle)
	}
}

// tableSlack is how far a node's addition may be from that without the fault,
// mm: the printer's noise is drawn anew from where the fault struck.
const tableSlack = 0.015

// same compares with the job without a fault, and the table with the truth.
func (c *faultCase) same(o *ask.Outcome) {
	c.t.Helper()
	ref := c.board.ref
	if got, want := findings(o), findings(&ref); got != want {
		c.t.Errorf("findings %s, without the fault %s", got, want)
	}
	if o.Table.Digest == nil {
		c.t.Errorf("no table: %v", o.Table.Refused)
		return
	}
	for k, n := range o.Table.Nodes {
		r := ref.Table.Nodes[k]
		if d := math.Abs(n.Add - r.Add); n.Before != r.Before || math.Round(1000*d) > 1000*tableSlack { // whole um
			c.t.Errorf("node %d,%d: %.3f %+.3f, without the fault %.3f %+.3f", n.I, n.J, n.Before, n.Add, r.Before, r.Add)
		}
	}
	if rms, _ := demo.Remaining(o.Table, c.printer.Truth()); rms > 0.010 {
		c.t.Errorf("remaining gap error %.1f um rms", 1000*rms)
	}
}

func findings(o *ask.Outcome) string {
	var ids []string
	for _, f := range o.Analysis.Findings {
		ids = append(ids, f.ID)
	}
	return strings.Join(ids, " ")
}

// unharmed holds the printer's own log to the rules of safety. A probe that
// does not trigger has the printer itself go down onto the bed: that contact,
// made by the touch, is the fault's.
func (c *faultCase) unharmed() {
	c.t.Helper()
	s := c.printer.Safety()
	if c.fault == "no-trigger" {
		s.Contacts = slices.DeleteFunc(s.Contacts, func(k bench.Contact) bool { return k.Touch && k.Vertical })
	}
	if s.LowTravel > 0 || s.NozzleTouches(1.7) > 0 || s.Unhomed > 0 || s.OutOfBounds > 0 {
		c.t.Errorf("unsafe: %d low travels (%.2f mm), %d contacts beyond the person's own, %d moves unhomed, %d out of bounds",
			s.LowTravel, s.LowWorst, s.NozzleTouches(1.7), s.Unhomed, s.OutOfBounds)
	}
}

// saidWhy holds an error to what a person needs.
func (c *faultCase) saidWhy(e *api.Error) {
	c.t.Helper()
	if e == nil || e.Code == "" || e.Code == "internal" || e.Text == "" || e.Hint == "" {
		c.t.Errorf("the reason is not said: %+v", e)
	}
}

func codeOf(e *api.Error) string {
	if e == nil {
		return "?"
	}
	return e.Code
}

// switchesAndOn: after a run that stopped, what it switched off is on again, or
// owed and put back on the person's word; then a whole job is as without the
// fault.
func (c *faultCase) switchesAndOn() {
	c.t.Helper()
	p := c.revive()
	s := c.printer.Safety()
	for _, w := range []struct {
		name string
		on   bool
	}{{"levelling", s.Levelling}, {"limits", s.Limits}} {
		if !w.on && !slices.Contains(p.Owed, w.name) {
			c.t.Errorf("%s is off and not owed (%v)", w.name, p.Owed)
		}
	}
	if len(p.Owed) > 0 {
		if _, err := c.api.StartRun(c.ctx, "repeat"); err == nil {
			c.t.Errorf("a run was accepted while %v is owed", p.Owed)
		}
		if err := c.api.Resolve(c.ctx, "finish"); err != nil {
			c.t.Errorf("put back: %v", err)
		}
		for end := time.Now().Add(10 * time.Minute); len(p.Owed) > 0 && time.Now().Before(end); {
			wait(c.t)
			p = c.printerNow()
		}
		if len(p.Owed) > 0 {
			c.t.Errorf("still owed: %v", p.Owed)
		}
	}
	c.whole()
}

func (c *faultCase) printerNow() api.Printer {
	p, err := c.api.Printer(c.ctx)
	if err != nil {
		c.t.Fatalf("printer: %v", err)
	}
	return p
}

// readyWithin looks ten times a second, and once a second where it lasts: a link
// that is not made was looked at six thousand times.
func (c *faultCase) readyWithin(d time.Duration) (p api.Printer, ok bool) {
	began := time.Now()
	for time.Since(began) < d {
		if p = c.printerNow(); p.Link == api.Ready {
			return p, true
		}
		if wait(c.t); time.Since(began) > 20*time.Second {
			time.Sleep(900 * time.Millisecond) // of the bubble's
		}
	}
	return p, false
}

// revive waits until the printer is there; one that is not within two minutes
// is reset by the person.
func (c *faultCase) revive() api.Printer {
	c.t.Helper()
	p, ok := c.readyWithin(2 * time.Minute)
	if !ok {
		c.printer.Restart()
		if p, ok = c.readyWithin(2 * time.Minute); !ok {
			c.t.Fatalf("the printer is not found again: %s: %s", p.Link, p.Sentence)
		}
	}
	return p
}

// A printer that never keeps anything, with a sentence and ok, cannot be told
// from one that does until it restarts; then it is said, and a person decides.
func TestNeverKept(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "beam-twist")
	sc.Unknown = []string{"M500"}
	b := &faultBoard{sc: sc, dir: memoryDir(t), cells: map[string]string{}}
	synctest.Test(t, b.prepare)
	synctest.Test(t, func(t *testing.T) {
		c := b.begin(t, b.dir, "")
		defer c.close()
		c.revive()
		o := &ask.Outcome{Run: api.Run{ID: b.id}}
		if err := o.Read(c.ctx, c.api); err != nil {
			t.Fatal(err)
		}
		c.apply(o)
		if a := c.settledState(); a.State != api.Kept {
			t.Fatalf("%s: %v", a.State, a.Error)
		}
		c.printer.Restart()
		time.Sleep(time.Second)
		c.revive()
		a := c.settledState()
		if a.State != api.Unfinished || codeOf(a.Error) != "not-kept" {
			t.Errorf("after a restart: %s %v", a.State, a.Error)
		}
		c.saidWhy(a.Error)
		// That the line died may be noticed only now: then it is tried again, as the
		// refusal says.
		if err := client.Patiently(c.ctx, func() error { return c.api.Resolve(c.ctx, "take-back") }); err != nil {
			t.Error(err)
		}
		if a = c.settledState(); a.State != api.PutBack {
			t.Errorf("taken back: %s %v", a.State, a.Error)
		}
		c.untouched("the map that was not kept")
	})
}
