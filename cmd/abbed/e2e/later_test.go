package e2e_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/store"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestLaterRun: a run that leaves something open is gone on with by a later one: it
// begins at the zero place, keeps the rules of gauging by its own records, asks
// before each further place, and what it gauged joins the earlier run: findings, gap
// and table are anew, an old sign-off fits no more, and a restart or a move to
// another state directory changes nothing of it.
func TestLaterRun(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-curved")
	if err != nil {
		t.Fatal(err)
	}
	dir, moved := memoryDir(t), memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 4})
		wants := func(s *config.Settings) {
			s.Gauging.Plan = config.PlanThorough
			s.Gauging.Columns, s.Gauging.Rows, s.Gauging.Records, s.Gauging.Target = 4, 2, 1, 0.014
		}
		w := open(t, dir, sc, &cable{printer: printer}, wants)
		defer func() { w.close() }()
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(7, 5)), Name: "the played person"}
		first, err := p.Measure(t.Context(), "repeat", "gauging", "survey")
		if err != nil {
			t.Fatal(err)
		}
		before := outcomeFor(t, w, first)
		if m := before.Analysis.More; before.Table.Digest == nil || m == nil || m.Left < 3 || m.Time <= 0 {
			t.Fatalf("no table: %+v, or nothing is open: %+v", before.Table.Refused, m)
		}
		signed, err := signOff(p, t.Context(), before.Table)
		if err != nil {
			t.Fatal(err)
		}
		refusedFor(t, w, first.ID)

		asked := 0
		p.Answer = func(q api.Prompt) (bool, *float64) {
			if !strings.HasPrefix(q.ID, "more-places") || !strings.Contains(q.Text, "One more reading at") {
				t.Errorf("asked: %+v", q)
			}
			asked++
			return asked == 1, nil
		}
		later := goesOn(p, t, w, first.ID, "gauging")
		run := laterRecord(t, w, later.ID)
		if later.State != api.Done || later.For != first.ID || asked != 2 {
			t.Errorf("%+v, asked %d times", later, asked)
		}
		keepsRules(t, run)
		after := outcomeFor(t, w, first)
		same := func(o *ask.Outcome, when string) {
			t.Helper()
			l := o.Analysis.Later
			if len(l) != 1 || !l[0].Used || l[0].Run != later.ID || l[0].Records != len(run.Gaugings) || !l[0].Began.Equal(later.Began) {
				t.Errorf("%s: %+v", when, l)
			}
			if o.Table.Digest == nil || *o.Table.Digest != *after.Table.Digest {
				t.Errorf("%s: the table is %v, %+v", when, o.Table.Digest, o.Table.Refused)
			}
		}
		same(after, "joined")
		marked(t, w, first.ID, later.ID)
		doubt := func(o *ask.Outcome) (sum float64) {
			for _, n := range o.Table.Nodes {
				sum += n.U95
			}
			return sum
		}
		if after.Table.Digest == nil || *after.Table.Digest == *before.Table.Digest || !(doubt(after) < doubt(before)) {
			t.Fatalf("the table is as before: ±%.4f in all, was ±%.4f", doubt(after), doubt(before))
		}
		if rms, _ := demo.Remaining(after.Table, printer.Truth()); rms > 0.010 {
			t.Errorf("%.1f um are left", 1000*rms)
		}
		for _, digest := range []string{*before.Table.Digest, *after.Table.Digest} {
			if err := w.api.Apply(t.Context(), digest, signed); err == nil {
				t.Errorf("the old sign-off wrote table %.8s", digest)
			}
		}
		if err := p.Correct(t.Context(), after); err != nil {
			t.Errorf("the new table: %v", err)
		}
		safe(t, w)

		// One that was withdrawn does not count.
		p.Answer = nil
		half, err := startFor(t, w, first.ID, "gauging")
		if err != nil {
			t.Fatal(err)
		}
		if err := w.api.Withdraw(t.Context(), half.ID); err != nil {
			t.Fatal(err)
		}
		same(outcomeFor(t, w, first), "after one was withdrawn")
		marked(t, w, first.ID, later.ID, half.ID)
		w.close()

		w = open(t, dir, sc, &cable{printer: printer}, wants)
		same(outcomeFor(t, w, first), "after a restart")
		marked(t, w, first.ID, later.ID, half.ID)
		if r, err := w.api.Run(t.Context(), first.ID); err != nil || r.State != api.Done {
			t.Errorf("the earlier run is %s after a restart, %v", r.State, err)
		}
		if h, err := w.api.History(t.Context()); err != nil || len(h.Runs) != 1 || h.Runs[0].Run != first.ID {
			t.Errorf("history: %+v, %v", h.Runs, err)
		}
		w.close()

		var b bytes.Buffer
		if _, _, err := store.Export(t.Context(), dir, &b, time.Now()); err != nil {
			t.Fatal(err)
		}
		if _, _, err := store.Import(t.Context(), moved, &b); err != nil {
			t.Fatal(err)
		}
		w = open(t, moved, sc, &cable{printer: printer}, wants)
		same(outcomeFor(t, w, first), "in another state directory")
		w.close()

		// Another probe, another printer: what is gauged now tells nothing of then.
		w = open(t, moved, sc, &cable{printer: printer}, wants, func(s *config.Settings) { s.Lever = &config.XY{X: 0, Y: 30} })
		refusedAs(t, w, "printer-changed", "another lever", first.ID, "gauging")
		refusedAs(t, w, "not-first", "name run "+first.ID, later.ID, "gauging")
		w.close()
		other := bench.New(sc, bench.Options{Seed: 4})
		w = open(t, moved, sc, &cable{printer: other}, wants, func(s *config.Settings) { trigger := 4.4; s.Trigger = &trigger })
		refusedAs(t, w, "printer-changed", "another trigger height", first.ID, "gauging")
		w.close()

		// Stopped with two places it counts too.
		w = open(t, moved, sc, &cable{printer: printer}, wants)
		p.API = w.api
		half, err = startFor(t, w, first.ID, "gauging")
		if err != nil {
			t.Fatal(err)
		}
		stoppedAt(t, w, p, half, 3)
		if l := outcomeFor(t, w, first).Analysis.Later; len(l) != 2 || l[1].Run != half.ID || l[1].Records < 3 || !l[1].Used {
			t.Errorf("after one was stopped: %+v", l)
		}
	})
}

// stoppedAt has the person stop the run once so many records are made, and waits for
// its end.
func stoppedAt(t *testing.T, w *world, p *demo.Person, run api.Run, records int) {
	t.Helper()
	p.Seen = func(r api.Run) {
		if r.Gaugings == records && r.State == api.AwaitingNext {
			if _, err := w.api.Stop(t.Context()); err != nil {
				t.Error(err)
			}
		}
	}
	_, _ = p.Carry(t.Context(), run) // ends with the stop, wherever that finds it
	if _, err := w.api.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.State.Over() }); err != nil {
		t.Fatal(err)
	}
}

// marked holds that a run names the later ones that go on with it, and they it,
// wherever runs are listed.
func marked(t *testing.T, w *world, first string, later ...string) {
	t.Helper()
	runs, err := w.api.Runs(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		one, err := w.api.Run(t.Context(), r.ID)
		if err != nil || one.For != r.For || !slices.Equal(one.Later, r.Later) {
			t.Errorf("run %s: by itself for %q, later %v, %v; in the list for %q, later %v", r.ID, one.For, one.Later, err, r.For, r.Later)
		}
		switch {
		case r.ID == first && (r.For != "" || !slices.Equal(r.Later, later)), slices.Contains(later, r.ID) && (r.For != first || len(r.Later) > 0):
			t.Errorf("run %s: for %q, later %v; want %v made for %s", r.ID, r.For, r.Later, later, first)
		}
	}
	h, err := w.api.History(t.Context())
	if err != nil || len(h.Runs) != 1 || !slices.Equal(h.Runs[0].Later, later) {
		t.Errorf("history: %+v, %v", h.Runs, err)
	}
	var list, history bytes.Buffer
	ask.TellRuns(&list, runs)
	ask.TellHistory(&history, h)
	names := "later readings: " + strings.Join(later, ", ")
	if !strings.Contains(history.String(), names) || strings.Count(list.String(), names) != 1 || strings.Count(list.String(), "for run "+first) != len(later) {
		t.Errorf("told:\n%s%s", &list, &history)
	}
}

// TestLaterKept: a daemon that is killed between the end of a later run and the
// joining joins at its next start, once; that the later run is dropped by age loses
// nothing then.
func TestLaterKept(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 6})
		w := open(t, dir, sc, &cable{printer: printer})
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(6, 5)), Name: "the played person"}
		first, err := p.Measure(t.Context(), "repeat", "gauging")
		if err != nil {
			t.Fatal(err)
		}
		later := goesOn(p, t, w, first.ID, "gauging")
		want := outcomeFor(t, w, first).Analysis.Later
		if len(want) != 1 || !want[0].Used {
			t.Fatalf("%+v", want)
		}
		w.close()

		// The same store as a kill leaves it: the later run has ended, and the earlier
		// one knows nothing of it.
		killed := memoryDir(t)
		from, _, err := store.Open(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		to, _, err := store.Open(t.Context(), killed)
		if err != nil {
			t.Fatal(err)
		}
		for _, id := range []string{first.ID, later.ID} {
			events, err := from.Events(t.Context(), id, 0)
			if err != nil {
				t.Fatal(err)
			}
			for i, e := range events {
				if e.Joined != nil {
					events = events[:i]
					break
				}
			}
			if err := to.Append(t.Context(), id, events...); err != nil {
				t.Fatal(err)
			}
		}
		if err := errors.Join(from.Close(), to.Close()); err != nil {
			t.Fatal(err)
		}
		for start := range 3 {
			w = open(t, killed, sc, &cable{printer: printer})
			got := outcomeFor(t, w, first)
			if l := got.Analysis.Later; len(l) != 1 || !l[0].Used || l[0].Records != want[0].Records {
				t.Errorf("start %d: %+v, want %+v", start, l, want)
			}
			var run record.Run
			if err := json.Unmarshal(got.Record, &run); err != nil || len(run.Joined) != 1 || run.Version < 3 {
				t.Errorf("start %d: %d joined, version %d, %v", start, len(run.Joined), run.Version, err)
			}
			w.close()
		}
		s, _, err := store.Open(t.Context(), killed)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(s.Drop(t.Context(), later.ID, "retention: 1 day"), s.Close()); err != nil {
			t.Fatal(err)
		}
		w = open(t, killed, sc, &cable{printer: printer})
		defer w.close()
		if l := outcomeFor(t, w, first).Analysis.Later; len(l) != 1 || !l[0].Used {
			t.Errorf("once the later run is dropped: %+v", l)
		}
		if _, err := w.api.Run(t.Context(), later.ID); err == nil {
			t.Error("the later run is still there")
		}
		if r, err := w.api.Run(t.Context(), first.ID); err != nil || len(r.Later) != 0 {
			t.Errorf("a later run that is not kept is named: %v, %v", r.Later, err)
		}
	})
}

// TestLaterFailed: a later run that failed counts with the places that were gauged to
// their end, if what ended it says nothing against them: a cable that was pulled, a
// program that was killed. After a fault that puts the position in doubt nothing of it
// counts. Its own sentence says which, and analyse does the same.
func TestLaterFailed(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	dir, killed, doubted, files := memoryDir(t), memoryDir(t), memoryDir(t), t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 6})
		w := open(t, dir, sc, &cable{printer: printer})
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(6, 5)), Name: "the played person"}
		first, err := p.Measure(t.Context(), "repeat", "gauging")
		if err != nil {
			t.Fatal(err)
		}
		alone := outcomeFor(t, w, first).Record
		half, err := startFor(t, w, first.ID, "gauging")
		if err != nil {
			t.Fatal(err)
		}
		p.Seen = func(r api.Run) {
			if r.Gaugings == 4 && r.State == api.AwaitingNext {
				w.wire.pull(true)
			}
		}
		_, _ = p.Carry(t.Context(), half) // ends with the pulled cable, wherever that finds it
		half, err = w.api.Wait(t.Context(), half.ID, func(r api.Run) bool { return r.State.Over() })
		if half.State != api.Failed || half.Gaugings != 4 {
			t.Fatalf("%+v, %v", half, err)
		}
		of := func(what string, w *world, id string, counts bool) {
			t.Helper()
			l := outcomeFor(t, w, first).Analysis.Later
			if counts && (len(l) != 1 || l[0].Run != id || l[0].Records != 3 || !l[0].Used) || !counts && len(l) != 0 {
				t.Errorf("%s: %+v", what, l)
			}
			says := "does not count in the earlier run"
			if counts {
				says = "gauged to their end count in the earlier run"
			}
			if r, err := w.api.Run(t.Context(), id); err != nil || r.State != api.Failed || !strings.Contains(r.Sentence, says) {
				t.Errorf("%s: %q, %v; want %q", what, r.Sentence, err, says)
			}
		}
		of("the cable was pulled", w, half.ID, true)
		a, b := filepath.Join(files, "a.json"), filepath.Join(files, "b.json")
		other := laterRecord(t, w, half.ID)
		other.Faults[0].Code = "not-there"
		doubt, err := json.Marshal(other)
		err = errors.Join(err, os.WriteFile(a, alone, 0o600), os.WriteFile(b, doubt, 0o600))
		if err != nil {
			t.Fatal(err)
		}
		c := ask.AnalyseCommand()
		c.SilenceErrors, c.SilenceUsage = true, true
		c.SetArgs([]string{a, "--with", b})
		if err := c.Execute(); err == nil || !strings.Contains(err.Error(), "in doubt; see to the cause") {
			t.Errorf("analyse: %v", err)
		}
		w.close()

		// As a kill in its middle leaves it, and with another end.
		for to, end := range map[string][]record.Event{
			killed:  nil,
			doubted: {{Fault: &record.Problem{Code: "foreign-use", Text: "the position changed by itself"}}, {Ended: &record.Ended{State: record.EndFailed}}},
		} {
			retold(t, dir, to, first.ID, half.ID, end)
			w := open(t, to, sc, &cable{printer: printer})
			of(to, w, half.ID, end == nil)
			w.close()
			w = open(t, to, sc, &cable{printer: printer}) // and once only
			of(to+" again", w, half.ID, end == nil)
			w.close()
		}
	})
}

// retold copies two runs into another store, without what was joined to the first and
// with another end of the second.
func retold(t *testing.T, dir, to, first, later string, end []record.Event) {
	t.Helper()
	from, _, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	into, _, err := store.Open(t.Context(), to)
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{first, later} {
		events, err := from.Events(t.Context(), id, 0)
		if err != nil {
			t.Fatal(err)
		}
		stays := slices.IndexFunc(events, func(e record.Event) bool { return e.Joined != nil || id == later && (e.Fault != nil || e.Ended != nil) })
		events = events[:stays]
		if id == later {
			for _, e := range end {
				last := events[len(events)-1]
				e.N, e.T, e.Wall = last.N+1, last.T, last.Wall
				events = append(events, e)
			}
		}
		if err := into.Append(t.Context(), id, events...); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(from.Close(), into.Close()); err != nil {
		t.Fatal(err)
	}
}

// TestAnalyseWith: analyse joins a later record as the daemon does, once, and refuses
// what cannot be joined.
func TestAnalyseWith(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	dir, files := memoryDir(t), t.TempDir()
	at := func(name string, r api.Record) string {
		path := filepath.Join(files, name)
		if err := os.WriteFile(path, r, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	var alone, joined, later, elsewhere, gone string
	var want api.Analysis
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 8})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(8, 5)), Name: "the played person"}
		first, err := p.Measure(t.Context(), "repeat", "gauging")
		if err != nil {
			t.Fatal(err)
		}
		alone = at("a.json", outcomeFor(t, w, first).Record)
		run := goesOn(p, t, w, first.ID, "repeat", "gauging")
		later = at("b.json", outcomeFor(t, w, run).Record)
		o := outcomeFor(t, w, first)
		joined, want = at("ab.json", o.Record), o.Analysis
		other := laterRecord(t, w, run.ID)
		other.Setup.Lever.X += 5
		b, err := json.Marshal(other)
		if err != nil {
			t.Fatal(err)
		}
		elsewhere = at("c.json", b)
		other = laterRecord(t, w, run.ID)
		other.Gaugings = nil
		if b, err = json.Marshal(other); err != nil {
			t.Fatal(err)
		}
		gone = at("d.json", b)
	})
	analyse := func(args ...string) (string, error) {
		c := ask.AnalyseCommand()
		var out bytes.Buffer
		c.SetOut(&out)
		c.SetErr(&out)
		c.SilenceErrors, c.SilenceUsage = true, true
		c.SetArgs(append(args, "--json"))
		err := c.Execute()
		return out.String(), err
	}
	told := func(args ...string) (a api.Analysis) {
		t.Helper()
		out, err := analyse(args...)
		var all struct{ Analysis api.Analysis }
		if err == nil {
			err = json.Unmarshal([]byte(out), &all)
		}
		if err != nil {
			t.Fatal(err)
		}
		return all.Analysis
	}
	if a := told(alone); len(a.Later) != 0 {
		t.Errorf("alone: %+v", a.Later)
	}
	for _, args := range [][]string{{alone, "--with", later}, {joined}, {joined, "--with", later}, {alone, "--with", later, "--with", later}} {
		a := told(args...)
		if len(a.Later) != 1 || !a.Later[0].Used || a.Later[0].Records != want.Later[0].Records || math.Abs(a.Largest.Value-want.Largest.Value) > 1e-9 || math.Abs(a.Largest.U-want.Largest.U) > 1e-9 {
			t.Errorf("%v: %+v, largest %+v, want %+v", args, a.Later, a.Largest, want.Largest)
		}
	}
	for _, c := range []struct{ with, says string }{
		{alone, "it is the same run"}, {elsewhere, "another lever"}, {gone, "it holds no readings"}, {filepath.Join(files, "none.json"), "none.json"},
	} {
		if _, err := analyse(alone, "--with", c.with); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("with %s: %v, want %q", c.with, err, c.says)
		}
	}
}

// refusedFor holds what a run for an earlier one is refused for.
func refusedFor(t *testing.T, w *world, first string) {
	t.Helper()
	for _, c := range []struct {
		id, code string
		steps    []string
	}{
		{"nobody", "not-found", []string{"gauging"}},
		{first, "other-steps", []string{"gauging", "survey"}},
		{first, "other-steps", []string{"repeat"}},
		{first, "unknown-step", []string{"gauge"}},
	} {
		refusedAs(t, w, c.code, "", c.id, c.steps...)
	}
}

func refusedAs(t *testing.T, w *world, code, says, id string, steps ...string) {
	t.Helper()
	_, err := startFor(t, w, id, steps...)
	var e *api.Error
	if !errors.As(err, &e) || e.Code != code || e.Hint == "" || !strings.Contains(e.Text+e.Hint, says) {
		t.Errorf("for %s %v: %v, want %s: %s", id, steps, err, code, says)
	}
}

// startFor asks for a run for an earlier one, once the printer is there.
func startFor(t *testing.T, w *world, id string, steps ...string) (run api.Run, err error) {
	err = client.Patiently(t.Context(), func() (err error) {
		run, err = w.api.Start(t.Context(), api.NewRun{Steps: steps, For: id})
		return err
	})
	return run, err
}

// goesOn does a later run for an earlier one, from its beginning to its end.
func goesOn(p *demo.Person, t *testing.T, w *world, id string, steps ...string) api.Run {
	t.Helper()
	run, err := startFor(t, w, id, steps...)
	if err != nil {
		t.Fatal(err)
	}
	if f := run.Forecast; run.For != id || f == nil || f.Gauging == nil || f.Gauging.Left < 3 || f.Left <= 0 || !strings.Contains(f.Says, "The earlier run needs") || strings.Contains(f.Says, ".,") {
		t.Errorf("before it: %+v", run.Forecast)
	}
	foretold := run.Forecast.Gauging.Left
	if run, err = p.Carry(t.Context(), run); err != nil {
		t.Fatal(err)
	}
	if p.Answer == nil && run.Gaugings != foretold {
		t.Errorf("%d records, foretold were %d", run.Gaugings, foretold)
	}
	return run
}

// signOff signs a table off, and returns the token.
func signOff(p *demo.Person, ctx context.Context, t api.Table) (string, error) {
	how := api.SignOff{Person: p.Name}
	for _, c := range t.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	s, err := p.API.SignOff(ctx, *t.Digest, how)
	return s.Token, err
}

func outcomeFor(t *testing.T, w *world, run api.Run) *ask.Outcome {
	t.Helper()
	o := &ask.Outcome{Run: run}
	if err := o.Read(t.Context(), w.api); err != nil {
		t.Fatal(err)
	}
	return o
}

func laterRecord(t *testing.T, w *world, id string) (run record.Run) {
	t.Helper()
	raw, err := w.api.Record(t.Context(), id)
	if err == nil {
		err = json.Unmarshal(raw, &run)
	}
	if err != nil {
		t.Fatal(err)
	}
	return run
}

// keepsRules holds a later run to the rules of gauging by its own records: the zero
// place first, twice, and each further place within 80 mm of one that it has gauged
// itself, or 120 mm once it has gauged three and the model says where the gauge drags
// (design: safety, rule 5; probe/route.go).
func keepsRules(t *testing.T, run record.Run) {
	t.Helper()
	gs := run.Gaugings
	if len(gs) < 4 || gs[0].Place != run.Setup.Zero || gs[1].Place != run.Setup.Zero {
		t.Fatalf("gauged %+v", gs)
	}
	for i, g := range gs[1:] {
		near := math.Inf(1)
		for _, was := range gs[:i+1] {
			near = min(near, was.Place.Distance(g.Place))
		}
		places := map[record.Place]bool{}
		for _, was := range gs[:i+1] {
			places[was.Place] = true
		}
		most := 80.0
		if len(places) >= 3 {
			most = 120
		}
		if near > most {
			t.Errorf("%s is %.0f mm from the nearest place that this run gauged", g.Place, near)
		}
	}
}

// TestLaterMoved: the head tilts otherwise when it is gauged again. The later run asks
// for nothing more once that shows, its records are kept and left out, and the
// correction of the earlier run is offered no more.
func TestLaterMoved(t *testing.T) {
	t.Parallel()
	was, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	is, err := bench.Lookup("true-shape")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(was, bench.Options{Seed: 2})
		w := open(t, dir, was, &cable{printer: printer})
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(2, 5)), Name: "the played person"}
		first, err := p.Measure(t.Context(), "repeat", "gauging", "survey")
		if err != nil {
			t.Fatal(err)
		}
		before := outcomeFor(t, w, first)
		if before.Table.Digest == nil {
			t.Fatalf("no table: %+v", before.Table.Refused)
		}
		w.close()
		printer = bench.New(is, bench.Options{Seed: 2}) // somebody put the beam right
		w = open(t, dir, was, &cable{printer: printer})
		defer w.close()
		p.API, p.Feel = w.api, printer.Blade
		p.Answer = func(q api.Prompt) (bool, *float64) {
			t.Errorf("asked: %s", q.Text)
			return false, nil
		}
		later := goesOn(p, t, w, first.ID, "gauging")
		if notes := strings.Join(laterRecord(t, w, later.ID).Notes, " "); !strings.Contains(notes, "no more is asked for") || !strings.Contains(notes, "contradict") {
			t.Errorf("%s: %s", later.State, notes)
		}
		after := outcomeFor(t, w, first)
		if l := after.Analysis.Later; len(l) != 1 || !l[0].Contradicts || l[0].Used {
			t.Errorf("%+v", l)
		}
		if r := after.Table.Refused; r == nil || r.Code != "finding-undetermined" || !strings.Contains(r.Hint, "measure again") {
			t.Errorf("the table: %+v", r)
		}
		if a, b := after.Analysis.Largest, before.Analysis.Largest; a == nil || a.Value != b.Value || a.U != b.U {
			t.Errorf("what it found by itself: %+v, was %+v", a, b)
		}
		_, err = w.api.SignOff(t.Context(), *before.Table.Digest, api.SignOff{Person: "Ida"})
		if err == nil {
			t.Error("the old table can still be signed off")
		}
		safe(t, w)
	})
}

// TestLaterExpires: with the correction of a run in force, a later run that agrees with
// it changes nothing; one that contradicts makes it expire as a tilt that moved does,
// on the page, the API and the metrics, also where the program was killed before it
// could say so; and it is not put onto a new map.
func TestLaterExpires(t *testing.T) {
	t.Parallel()
	was, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	is := was
	is.Roll = func(x float64) float64 { return 0.4 * was.Roll(x) }
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(was, bench.Options{Seed: 2, Wording: 1})
		w := open(t, dir, was, &cable{printer: printer})
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(2, 5)), Name: "the played person"}
		first := applyWhole(t, w, p).Run
		goesOn(p, t, w, first.ID, "gauging")
		a, err := w.api.Applied(t.Context())
		if l := outcomeFor(t, w, first).Analysis.Later; err != nil || a.Expired != nil || len(l) != 1 || !l[0].Used {
			t.Fatalf("a later run that agrees: %+v, %+v, %v", a, l, err)
		}
		w.close()

		printer = bench.New(is, bench.Options{Seed: 2, Wording: 1}) // the beam turned
		w = open(t, dir, was, &cable{printer: printer})
		p.API, p.Feel = w.api, printer.Blade
		ready(t, w)
		if a, err = w.api.Applied(t.Context()); err != nil || a.Expired != nil && strings.Contains(*a.Expired, "contradict") {
			t.Fatalf("before it is gauged: %+v, %v", a, err)
		}
		later, err := startFor(t, w, first.ID, "gauging")
		if err != nil {
			t.Fatal(err)
		}
		stoppedAt(t, w, p, later, 4)
		if l := outcomeFor(t, w, first).Analysis.Later; len(l) != 2 || !l[1].Contradicts {
			t.Fatalf("%+v", l)
		}
		if g, err := w.api.Gap(t.Context(), first.ID, [][2]float64{{110, 110}}); err != nil || len(g) != 1 || g[0].Gap != nil || g[0].U95 != nil || !strings.Contains(g[0].Reason, "contradict") {
			t.Errorf("a gap that is contradicted: %+v, %v", g, err)
		}
		expired := func(when string) {
			t.Helper()
			a, err := w.api.Applied(t.Context())
			if err != nil || a.State != api.Kept || a.Expired == nil || a.Proved || !strings.Contains(a.Sentence, "no longer holds") || !strings.Contains(*a.Expired, "of a later run contradict the first run") {
				t.Errorf("%s: %+v, %v", when, a, err)
			}
			if m := scraped(t, w); m[`abbed_to_do{id="expired-twist"}`] != 1 || m[`abbed_correction_proved`] != 0 {
				t.Errorf("%s: the metrics say twist %g, proved %g", when, m[`abbed_to_do{id="expired-twist"}`], m[`abbed_correction_proved`])
			}
			var e *api.Error
			if err := w.api.Reapply(t.Context()); !errors.As(err, &e) || e.Code != "expired" {
				t.Errorf("%s: re-applied: %v", when, err)
			}
		}
		wait(t)
		expired("at its end")
		w.close()

		// The same store as a kill leaves it before it was said.
		s, _, err := store.Open(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		entry, _, err := s.Applied(t.Context())
		entry.Expired, entry.At = "", entry.At.Add(time.Second)
		if err == nil {
			_, err = s.SaveApplied(t.Context(), entry)
		}
		if err := errors.Join(err, s.Close()); err != nil {
			t.Fatal(err)
		}
		w = open(t, dir, was, &cable{printer: bench.New(is, bench.Options{Seed: 2, Wording: 1})}) // switched off and on
		defer w.close()
		ready(t, w)
		wait(t)
		expired("at the next start, " + later.ID)
	})
}

// TestLaterRefused: a run can be gone on with only if it tells something of its gap
// error, and one run at a time.
func TestLaterRefused(t *testing.T) {
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 3})
		w := open(t, dir, sc, &cable{printer: printer})
		defer func() { w.close() }()
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(3, 5)), Name: "the played person"}
		steady, err := p.Measure(t.Context(), "repeat")
		if err != nil {
			t.Fatal(err)
		}
		refusedAs(t, w, "no-gauging", "has no readings to add to", steady.ID, "gauging")
		half, err := w.api.StartRun(t.Context(), "gauging")
		if err != nil {
			t.Fatal(err)
		}
		refusedAs(t, w, "run-active", "", half.ID, "gauging")
		stoppedAt(t, w, p, half, 2) // both at the zero point
		w.close()
		w = open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 3})}) // switched off and on
		refusedAs(t, w, "nothing-known", "fewer than two places", half.ID, "gauging")
		if runs, err := w.api.Runs(t.Context()); err != nil || len(runs) != 2 {
			t.Errorf("a refused run was kept: %d, %v", len(runs), err)
		}
	})
}
