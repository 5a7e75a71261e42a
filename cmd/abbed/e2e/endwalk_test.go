package e2e_test

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"abbed/cmd/abbed/ask"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

var endWalks = flag.Int("walks.end", often(40, 20), "how many ends of the program TestWalkEnd tries, in any state")

// ending is one end of the program: what goes on, what is wrong with the printer,
// and when.
type ending struct {
	Wild    wild
	What    string // run, apply, undo
	Works   int    // what the person has done in the run before
	Leave   bool   // the person has been away since, for seven minutes
	Trouble string // "": the printer answers
	When    string // the command at which the trouble strikes
	After   int    // ms from there, or from the trouble, to the end
	Stops   []int  // ms after which a stop is asked for meanwhile
	Asks    string // what the person asks at the same moment
}

// troubles that an end may meet. All but late and restart leave a printer that gives
// no answer any more.
var troubles = []string{"", "", "", "silent", "talking", "busy", "late", "restart", "pull", "halt", "swallowed"}

func drawEnding(t *rapid.T) ending {
	e := ending{
		Wild:    drawWild(t),
		What:    rapid.SampledFrom([]string{"run", "run", "run", "apply", "undo"}).Draw(t, "what"),
		Works:   rapid.OneOf(rapid.IntRange(0, 4), rapid.IntRange(0, 60)).Draw(t, "works"),
		Leave:   rapid.SampledFrom([]bool{false, false, false, true}).Draw(t, "leave"),
		Trouble: rapid.SampledFrom(troubles).Draw(t, "trouble"),
		When:    rapid.SampledFrom([]string{"", "", "G30", "G30:3", "G1:2", "G28", "M420", "M114:2", "M421:5", "M500"}).Draw(t, "when"),
		After:   rapid.OneOf(rapid.IntRange(0, 400), rapid.IntRange(0, 30000)).Draw(t, "after"),
		Stops:   rapid.SampledFrom([][]int{nil, {10}, {1000}, {10, 1000}, {0}, {5000}}).Draw(t, "stops"),
		Asks:    rapid.SampledFrom([]string{"", "", "loose", "drags", "next", "answer", "start"}).Draw(t, "asks"),
	}
	if e.Wild.proves() {
		e.Wild.Steps = []string{"gauging"}
	}
	return e
}

// play lets it come to that end, and returns what must not be, by kind.
func (e ending) play(t *testing.T, dir string, base bench.Scenario) map[string]string {
	m := e.Wild
	sc := m.scenario(base)
	if e.What != "run" { // the machine whose run is stored already
		sc = base
		sc.Baud, sc.Chatter, sc.Echoes, m.Seed = 115200, 0, m.Echoes, killSeed
	}
	w := &walker{t: t, m: m, rnd: rand.New(rand.NewPCG(m.Seed, 5)), judged: map[string]bool{}, breaches: map[string]string{}}
	w.stage = &stage{sc: sc, began: time.Now(), printer: bench.New(sc, bench.Options{Seed: m.Seed})}
	set := m.set
	if e.What != "run" {
		set = func(*config.Settings) {}
	}
	w.again(t, dir, set)
	defer func() { w.close() }()
	old := w.printer.Nodes()
	goal, ok := e.prepare(w, old)
	if !ok {
		return nil
	}
	before := w.printer.Safety()
	e.strike(w)
	time.Sleep(time.Duration(e.After) * time.Millisecond)
	active := e.What == "run" && w.unfinishedRun()
	e.end(w)
	time.Sleep(2 * time.Second) // what is still on a slow line arrives
	answers := e.Trouble == "" || e.Trouble == "late" || w.printer.Strikes() == 0 && e.byLine()
	e.after(w, before, old, goal, answers, active)
	if e.Trouble != "" || w.printer.Safety().Halts > 0 { // somebody looked at the machine
		w.printer.Calm()
		w.cable.pull(false)
		w.printer.Restart()
	}
	before = w.printer.Safety()
	w.close()
	w.again(t, dir, set)
	e.found(w, before, answers)
	return w.breaches
}

// byLine says that the trouble strikes at a command.
func (e ending) byLine() bool {
	return slices.Contains([]string{"silent", "talking", "busy", "late", "swallowed"}, e.Trouble)
}

func (w *walker) unfinishedRun() bool {
	r, ok := w.now()
	return ok && !r.State.Over() && r.State != api.AwaitingConfirmation
}

// prepare brings it to where the end comes; goal is the map that is being written.
func (e ending) prepare(w *walker, old [][]float64) (goal [][]float64, ok bool) {
	ctx, cancel := context.WithTimeout(w.t.Context(), 12*time.Hour)
	defer cancel()
	w.timed = w.api
	if e.What == "run" {
		if e.Works == 0 && e.Leave { // it waits for the confirmation
			r, err := w.api.StartRun(ctx, e.Wild.Steps...)
			w.run = r.ID
			return nil, err == nil
		}
		w.beginBusy()
		for range e.Works {
			w.calm(nil)
			if !w.work(ctx) {
				break
			}
		}
		if e.Leave {
			time.Sleep(7 * time.Minute)
		}
		return nil, true
	}
	runs, err := w.api.Runs(ctx)
	if err != nil || len(runs) != 1 {
		return nil, false
	}
	o := &ask.Outcome{Run: runs[0]}
	if o.Table, err = w.api.Table(ctx, runs[0].ID); err != nil || o.Table.Digest == nil {
		w.t.Fatalf("no table: %+v %v", o.Table.Refused, err)
	}
	goal = plusTable(old, o.Table)
	if e.What == "undo" {
		if err := w.hand.Apply(ctx, o); err != nil {
			w.t.Fatal(err)
		}
		return goal, w.api.Undo(ctx) == nil
	}
	return goal, e.beginApply(ctx, w, o) == nil
}

func (e ending) beginApply(ctx context.Context, w *walker, o *ask.Outcome) error {
	how := api.SignOff{Person: w.hand.Name}
	for _, c := range o.Table.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	signed, err := w.api.SignOff(ctx, *o.Table.Digest, how)
	if err != nil {
		return err
	}
	return w.api.Apply(ctx, *o.Table.Digest, signed.Token)
}

// beginBusy starts and confirms a run, and does not wait.
func (w *walker) beginBusy() {
	ctx := w.t.Context()
	ask := api.NewRun{Steps: w.m.Steps}
	if w.m.Bed > 0 {
		ask.Heat = &api.Heat{Bed: &w.m.Bed}
	}
	r, err := w.api.Start(ctx, ask)
	if err != nil {
		return
	}
	w.run = r.ID
	how := api.Confirm{Person: "anybody", Gauge: &w.m.Blade}
	for _, c := range r.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	_ = w.api.Confirm(ctx, r.ID, how)
}

func (e ending) strike(w *walker) {
	switch e.Trouble {
	case "restart":
		w.printer.Restart()
	case "halt":
		w.printer.Halt()
	case "pull":
		w.cable.pull(true)
	case "silent", "talking", "swallowed":
		silences[e.Trouble](w.printer, e.When, 0)
	case "busy":
		w.printer.Hang(e.When, 1e6)
	case "late":
		w.printer.Late(e.When, 12)
	}
}

// end asks the program to end, and for a stop meanwhile.
func (e ending) end(w *walker) {
	var others sync.WaitGroup
	ctx, cancel := context.WithTimeout(w.t.Context(), 10*time.Minute)
	if e.Asks != "" && w.run != "" {
		others.Go(func() { w.request(ctx, e.Asks) })
		time.Sleep(time.Millisecond)
	}
	began, over := time.Now(), make(chan time.Time, 1)
	w.stage.end()
	go func() { w.running.Wait(); over <- time.Now() }()
	asked, answers := []time.Time{}, []error{}
	for _, ms := range e.Stops {
		time.Sleep(time.Until(began.Add(time.Duration(ms) * time.Millisecond)))
		asked = append(asked, time.Now())
		_, err := w.api.Stop(ctx)
		answers = append(answers, err)
	}
	ended := time.Time{}
	select {
	case ended = <-over:
	case <-time.After(2 * time.Hour):
		w.t.Fatal("the program does not end")
	}
	for i, err := range answers {
		if left := ended.Sub(asked[i]); !plainly(err) && left > 100*time.Millisecond {
			w.breach("end-stop", "a stop %d ms after the end was asked for, and %.1f s before the end, is not answered: %v", e.Stops[i], left.Seconds(), err)
		}
	}
	if took := ended.Sub(began); took > mostEnding {
		w.breach("end-late"+map[bool]string{true: "", false: "-" + e.Trouble}[e.Trouble == ""], "it took %.1f s to end", took.Seconds())
	}
	w.transport.CloseIdleConnections()
	cancel()
	others.Wait()
}

// after looks at the printer once the program has ended.
func (e ending) after(w *walker, before bench.Safety, old, goal [][]float64, answers, active bool) {
	s := w.printer.Safety()
	for _, v := range w.printer.Violations() {
		if v.Kind == bench.KindUnhomed && v.Since < grace && (v.Why == "a restart" || v.Why == "a halt") {
			continue
		}
		kind := v.Kind + "-" + string(v.Act)
		if v.Kind == bench.KindUnhomed {
			kind = v.Kind + " after " + v.Why
		}
		w.breach("end-"+kind, "%v", v)
	}
	stopped := len(e.Stops) > 0 || s.Halts > before.Halts
	if goal != nil && answers && !stopped {
		if now := w.printer.Nodes(); !nearNodes(now, old) && !nearNodes(now, goal) {
			w.breach("end-half", "the map in force is neither the old one nor the new one")
		} else if !nearNodes(now, w.printer.Kept()) {
			w.breach("end-not-kept", "the map in force is not the one that is kept")
		}
	}
	if active && answers && !stopped {
		// The levelling that was switched may be in it, and a homing that was under way
		// ends at the printer's own height.
		if s.Homed && s.Told[2] < min(w.sc.Clearance, max(e.Wild.Clearance, e.Wild.Trigger+1))-0.3 {
			w.breach("end-not-raised", "the nozzle was left at z=%.2f", s.Told[2])
		}
		if s.Targets != [2]float64{} {
			w.breach("end-hot", "the heaters are at %v", s.Targets)
		}
	}
}

// found looks at what the next start finds.
func (e ending) found(w *walker, before bench.Safety, answered bool) {
	ctx := w.t.Context()
	p, err := w.api.Printer(ctx)
	if err != nil {
		w.breach("end-found", "%v", err)
		return
	}
	s := w.printer.Safety()
	owes := func(what string) bool { return slices.Contains(p.Owed, what) }
	if !s.Limits && !owes("limits") {
		w.breach("end-left-limits", "the travel limits are off and not owed")
	}
	if s.Targets != [2]float64{} && !owes("heaters") {
		w.breach("end-left-heat", "the heaters are at %v and not owed", s.Targets)
	}
	if s.Levelling != w.sc.LevelledStart && !owes("levelling") && e.What == "run" {
		w.breach("end-left-levelling-"+onOff(s.Levelling), "the levelling was %s before, is %s, and not owed", onOff(w.sc.LevelledStart), onOff(s.Levelling))
	}
	if w.run != "" {
		if r, err := w.api.Run(ctx, w.run); err != nil || !r.State.Over() {
			w.breach("end-run", "the run is %s after the end of the program: %v", r.State, err)
		}
	}
	if a, err := w.api.Applied(ctx); err != nil || answered && len(e.Stops) == 0 && (a.State == api.Unfinished || a.Half) {
		w.breach("end-unfinished", "the next start finds the correction %s, %v", a.State, err)
	}
}

// TestWalkEnd ends the program in any state: at any moment of a run, of an apply, of
// an undo, with a printer that answers or does not, and with a stop meanwhile. It
// ends within twenty seconds, a stop is taken or answered, nothing that must not
// move moves, and nothing half written is left while the printer answers.
//
//	go test ./cmd/abbed/e2e -run TestWalkEnd -walks.end 1000
func TestWalkEnd(t *testing.T) {
	t.Parallel()
	base := lookup(t, "twist-level")
	stored := measured(t, base, killSeed)
	gen := rapid.Custom(drawEnding)
	failed := false
	first, shown := map[string]string{}, map[string][]int{}
	n := *endWalks
	if testing.Short() {
		n = min(n, 6)
	}
	for seed := 1; seed <= n; seed++ {
		e := gen.Example(seed)
		dir := ""
		if e.What == "run" {
			dir = memoryDir(t)
		} else {
			dir = image(t, stored)
		}
		var found map[string]string
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			bubble(t, dir, func(t *testing.T, dir string) { found = e.play(t, dir, base) })
		})
		_ = os.RemoveAll(dir)
		if t.Failed() && !failed {
			failed = true
			t.Logf("end %d: %+v", seed, e)
		}
		for k, text := range found {
			if shown[k] = append(shown[k], seed); first[k] == "" {
				first[k] = fmt.Sprintf("%s\n%s", text, strings.ReplaceAll(fmt.Sprintf("%+v", e), " Levels", "\nLevels"))
			}
		}
	}
	for _, k := range slices.Sorted(maps.Keys(first)) {
		t.Errorf("%s (%d ends: %v): %s", k, len(shown[k]), shown[k][:min(12, len(shown[k]))], first[k])
	}
}
