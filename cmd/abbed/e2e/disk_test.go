package e2e_test

import (
	"bytes"
	"errors"
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
	"abbed/daemon/api"
	"abbed/daemon/store/storetest"
	"abbed/gcode/bench"
)

// diskFaults are what a disk may have, and the word by which a person knows it.
var diskFaults = map[string]struct {
	fault storetest.Fault
	says  string
}{
	"full":        {storetest.Full, "the disk is full"},
	"short write": {storetest.Short, "the disk is full"},
	"read-only":   {storetest.ReadOnly, "cannot be written"},
	"device":      {storetest.IO, "the disk or the card reports an error"},
}

// failing makes every write from the next on fail.
func failing(f storetest.Fault) func(storetest.Op) storetest.Fault {
	return func(op storetest.Op) storetest.Fault {
		if op.Kind == storetest.Write {
			return f
		}
		return storetest.None
	}
}

// TestFaultyDiskInRun: a disk that takes nothing more ends the run with its
// sentence and a remedy; what the run switched off is on again, what was
// confirmed is kept, and once the disk is well everything goes on.
func TestFaultyDiskInRun(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	for name, f := range diskFaults {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			disk := storetest.Watch(t, dir)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer}, smaller)
				defer func() { w.close() }()
				p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
				shown := 0
				p.Seen = func(r api.Run) {
					if r.Step == "survey" && r.Touches > 40 && shown == 0 {
						shown = r.Touches
						disk.On(failing(f.fault))
					}
				}
				run, _ := p.Measure(t.Context(), "repeat", "gauging", "survey")
				if run.State != api.Failed || run.Error == nil || run.Error.Code != "store" || !strings.Contains(run.Error.Text, f.says) || run.Error.Hint == "" || shown == 0 {
					t.Errorf("the run is %s: %+v", run.State, run.Error)
				}
				if s := printer.Safety(); !s.Levelling || !s.Limits {
					t.Errorf("left off: levelling %v, limits %v", s.Levelling, s.Limits)
				}
				var e *api.Error
				if _, err := w.api.StartRun(t.Context(), "repeat"); !errors.As(err, &e) || e.Code != "store" || !strings.Contains(e.Text, f.says) {
					t.Errorf("another run on that disk: %v", err)
				}
				disk.On(nil)
				id := run.ID
				w.close()
				w = open(t, dir, sc, &cable{printer: printer}, smaller)
				pr := ready(t, w)
				if run, err := w.api.Run(t.Context(), id); err != nil || run.State != api.Failed || run.Touches < shown-10 {
					t.Errorf("started again: %s, %d touches of %d, %v", run.State, run.Touches, shown, err)
				}
				putBackAndGoOn(t, w, pr)
			})
		})
	}
}

// TestFaultyDiskInApply: a disk that takes nothing more before, in or after an
// apply leaves a whole map, or one that is shown as half written; by the
// person's word it is then whole, and kept.
func TestFaultyDiskInApply(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	base := measured(t, sc, 2)
	seen := map[api.AppliedState]int{}
	for name, f := range diskFaults {
		for _, after := range []int{0, 3, 6, 10, 15, 20, 30} { // writes that it takes
			t.Run(name, func(t *testing.T) {
				dir := image(t, base)
				disk := storetest.Watch(t, dir)
				synctest.Test(t, func(t *testing.T) {
					printer := bench.New(sc, bench.Options{Seed: 2})
					wire := &cable{printer: printer}
					w := open(t, dir, sc, wire)
					defer func() { w.close() }()
					ready(t, w)
					p, o := &demo.Person{API: w.api, Name: "the played person"}, &ask.Outcome{}
					runs, _ := w.api.Runs(t.Context())
					var err error
					if o.Table, err = w.api.Table(t.Context(), runs[0].ID); err != nil || o.Table.Digest == nil {
						t.Fatalf("%+v %v", o.Table.Refused, err)
					}
					before := printer.Nodes()
					p.Phase = func(string) {
						n := 0
						disk.On(func(op storetest.Op) storetest.Fault {
							if op.Kind == storetest.Write {
								n++
							}
							if n <= after {
								return storetest.None
							}
							return failing(f.fault)(op)
						})
					}
					err = p.Apply(t.Context(), o)
					a, e := w.api.Applied(t.Context())
					if e != nil {
						t.Fatal(e)
					}
					if err != nil && (!strings.Contains(err.Error(), f.says) || strings.Contains(err.Error(), "damaged")) {
						t.Errorf("after %d: the apply says %v", after, err)
					}
					if err != nil && a.State != api.Unfinished && !equalNodes(before, printer.Nodes()) {
						t.Errorf("after %d: shown as %s, and the map is neither", after, a.State)
					}
					disk.On(nil)
					seen[a.State]++
					w.close()
					w = open(t, dir, sc, &cable{printer: printer})
					ready(t, w)
					if a, e = w.api.Applied(t.Context()); e != nil {
						t.Fatal(e)
					}
					if a.State == api.Unfinished {
						seen[a.State]++
						if err := w.api.Resolve(t.Context(), "take-back"); err != nil {
							t.Fatal(err)
						}
						for a.State == api.Unfinished || a.State == api.Writing || a.State == api.Verifying {
							wait(t)
							a, _ = w.api.Applied(t.Context())
						}
					}
					if a.State != api.Kept && (!equalNodes(before, printer.Nodes()) || !equalNodes(before, printer.Kept())) {
						t.Errorf("after %d: %s, but the map is not the old one", after, a.State)
					}
				})
			})
		}
	}
	t.Logf("found %v", seen)
	for _, want := range []api.AppliedState{api.NoneApplied, api.PutBack, api.Unfinished, api.Kept} {
		if seen[want] == 0 {
			t.Errorf("the disk never failed so that it is %s: %v", want, seen)
		}
	}
}

// spoil flips a bit after each mark in the store's file: a page that is free may hold an old
// copy of a row, and come first.
func spoil(t *testing.T, dir, mark string) {
	t.Helper()
	file := filepath.Join(dir, "abbed.db")
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for rest := b; ; n++ {
		at := bytes.Index(rest, []byte(mark))
		if at < 0 {
			break
		}
		rest = rest[at+len(mark):]
		rest[0] ^= 1
	}
	if n == 0 {
		t.Fatalf("%q is not in the file", mark)
	}
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestSpoiltStore: an event of a run that is not what was written cuts the run
// short there, and the page says so; all others are as they were. Where it is the
// journal of what stands in the printer, the store is moved aside, and says so.
func TestSpoiltStore(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	base := measured(t, sc, 2)
	for name, c := range map[string]struct {
		mark, says string
		moved      bool
	}{
		"an event":                    {`"n":300,"t":`, "event 300 of run", false},
		"a row of the log of changes": {"confirm a run", "the log of changes, row", false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := image(t, base)
			spoil(t, dir, c.mark)
			synctest.Test(t, func(t *testing.T) {
				w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 2})})
				defer w.close()
				pr := ready(t, w)
				if !strings.Contains(pr.Sentence, c.says) || !strings.Contains(pr.Sentence, "Nothing was deleted") {
					t.Errorf("the page says %q", pr.Sentence)
				}
				runs, err := w.api.Runs(t.Context())
				if err != nil || len(runs) != 1 {
					t.Fatalf("%v %v", runs, err)
				}
				table, err := w.api.Table(t.Context(), runs[0].ID)
				if name != "an event" {
					if err != nil || table.Digest == nil || runs[0].State != api.Done {
						t.Errorf("%s, %+v, %v", runs[0].State, table.Refused, err)
					}
					return
				}
				if runs[0].State != api.Failed || runs[0].Error == nil || runs[0].Error.Code != "store-damaged" || runs[0].Number != 299 || runs[0].Touches == 0 {
					t.Errorf("%+v", runs[0])
				}
				if err != nil || table.Digest != nil || table.Refused == nil {
					t.Errorf("a table of half a run: %+v, %v", table, err)
				}
			})
		})
	}
}

// TestStoreNotices says what a person reads when the store was damaged as a
// whole: on the page, with where it is now.
func TestStoreNotices(t *testing.T) {
	sc := lookup(t, "twist-level")
	dir := memoryDir(t)
	if err := os.WriteFile(filepath.Join(dir, "abbed.db"), []byte("this was a store once"), 0o600); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 2})})
		defer w.close()
		pr := ready(t, w)
		moved, _ := filepath.Glob(filepath.Join(dir, "damaged-*"))
		if len(moved) != 1 || !strings.Contains(pr.Sentence, moved[0]) || !strings.Contains(pr.Sentence, "look at the printer's bed map") {
			t.Errorf("%v; the page says %q", moved, pr.Sentence)
		}
		var e *api.Error
		if _, err := w.api.Run(t.Context(), "gone"); !errors.As(err, &e) || e.Code != "not-found" {
			t.Errorf("%v", err)
		}
		if runs, err := w.api.Runs(t.Context()); err != nil || slices.ContainsFunc(runs, func(api.Run) bool { return true }) {
			t.Errorf("%v %v", runs, err)
		}
		time.Sleep(time.Second)
	})
}
