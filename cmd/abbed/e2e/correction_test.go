package e2e_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestForgedJournal: an entry of the journal whose nodes are not those of its digest is
// not acted on, though its checksums are right: nothing is written, whatever is asked,
// and each refusal says what to do.
func TestForgedJournal(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	forged := func(g [][]int64, by int64) [][]int64 {
		out := record.Plus(g, nil, 0)
		for j := range out {
			for i := range out[j] {
				out[j][i] += by
			}
		}
		return out
	}
	for name, forge := range map[string]func(*store.Applied){
		"before":        func(a *store.Applied) { a.Before = forged(a.Before, -5000) },
		"before, added": func(a *store.Applied) { a.Before, a.Add = forged(a.Before, -300), forged(a.Add, 300) },
		"half written":  func(a *store.Applied) { a.Before, a.State = forged(a.Before, -400), store.Unfinished },
		"digest":        func(a *store.Applied) { a.Digest = strings.Repeat("0", 64) },
		"size":          func(a *store.Applied) { a.Before, a.Add, a.Origin = a.Before[1:], a.Add[1:], nil },
		"under": func(a *store.Applied) {
			a.Under = forged(a.Add, 700)
			a.Before, a.Add = record.Plus(a.Before, a.Under, -1), record.Plus(a.Add, a.Under, 1)
		},
		"origin": func(a *store.Applied) { a.Origin = forged(a.Origin, 700) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := image(t, base)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer})
				ready(t, w)
				w.applyOnly(t)
				w.close()
				s, _, err := store.Open(t.Context(), dir)
				if err != nil {
					t.Fatal(err)
				}
				entry, _, err := s.Applied(t.Context())
				forge(&entry)
				if err == nil {
					_, err = s.SaveApplied(t.Context(), entry)
				}
				if err := errors.Join(err, s.Close()); err != nil {
					t.Fatal(err)
				}
				w = open(t, dir, sc, &cable{printer: printer})
				defer w.close()
				ready(t, w)
				was, kept := printer.Nodes(), printer.Kept()
				for act, do := range map[string]func() error{
					"undo": func() error { return w.api.Undo(t.Context()) }, "re-apply": func() error { return w.api.Reapply(t.Context()) },
					"take-back": func() error { return w.api.Resolve(t.Context(), "take-back") }, "finish": func() error { return w.api.Resolve(t.Context(), "finish") },
				} {
					var e *api.Error
					if err := do(); !errors.As(err, &e) || e.Hint == "" {
						t.Errorf("%s: %v", act, err)
					}
				}
				wait(t)
				if !equalNodes(was, printer.Nodes()) || !equalNodes(kept, printer.Kept()) {
					t.Error("the map was changed")
				}
				a, err := w.api.Applied(t.Context())
				if err != nil || a.State != api.ApplyFailed || a.Error == nil || a.Error.Code != "journal-damaged" {
					t.Errorf("%+v, %v", a, err)
				}
			})
		})
	}
}

// TestEndInApply: the end of the program in the middle of an apply or an undo finishes it,
// or takes it back, while the printer answers; it never leaves it unfinished then. If the
// printer does not answer, the journal says so. The program ends within 20 s.
func TestEndInApply(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	for _, undo := range []bool{false, true} {
		for _, fault := range []string{"", "slow-line", "half-open"} {
			for _, at := range []int{1, 2, 20, 47, 49, 50} {
				t.Run(fmt.Sprintf("undo %v, fault %q, at node %d", undo, fault, at), func(t *testing.T) {
					dir := image(t, base)
					synctest.Test(t, func(t *testing.T) {
						printer := bench.New(sc, bench.Options{Seed: 2})
						nodes, armed, ended := 0, false, make(chan struct{})
						wire := &cable{printer: printer, trace: func(dir, line string) {
							if armed && strings.Contains(line, "M421") {
								if nodes++; nodes == at {
									close(ended)
								}
							} else if armed && nodes > 0 && nodes < at && strings.Contains(line, "M500") {
								nodes = at // fewer nodes are written than that
								close(ended)
							}
						}}
						w := open(t, dir, sc, wire)
						ready(t, w)
						before := printer.Nodes()
						if undo {
							w.applyOnly(t)
						}
						was := printer.Nodes()
						armed = true
						done := make(chan error, 1)
						go func() {
							if undo {
								done <- w.api.Undo(t.Context())
								return
							}
							p := &demo.Person{API: w.api, Name: "the played person"}
							runs, _ := w.api.Runs(t.Context())
							table, err := w.api.Table(t.Context(), runs[0].ID)
							if err == nil {
								err = p.Apply(t.Context(), &ask.Outcome{Table: table})
							}
							done <- err
						}()
						<-ended
						if fault != "" {
							printer.Inject(bench.Fault{Name: fault})
						}
						begun := time.Now()
						w.close()
						<-done
						if took := time.Since(begun); took > 20*time.Second {
							t.Errorf("it took %v", took)
						}
						s, _, err := store.Open(t.Context(), dir)
						if err != nil {
							t.Fatal(err)
						}
						defer s.Close()
						a, _, err := s.Applied(t.Context())
						now := printer.Nodes()
						switch {
						case err != nil:
							t.Error(err)
						case fault == "half-open" && a.State.Open():
						case a.State.Open():
							t.Errorf("left %s", a.State)
						case !equalNodes(now, printer.Kept()) || (a.State == store.Undone || a.State == store.PutBack) && !equalNodes(now, before) ||
							a.State == store.Kept && (equalNodes(now, before) || undo && !equalNodes(now, was)):
							t.Errorf("%s, but the map is another", a.State)
						}
					})
				})
			}
		}
	}
}

// TestFirstMeasured: however often a correction is put back on, the map stays within the
// limits of a correction from the one that was first measured; an entry of an earlier
// version, which does not name that one, follows its tables to it.
func TestFirstMeasured(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	for _, old := range []bool{false, true} {
		t.Run(fmt.Sprintf("old %v", old), func(t *testing.T) {
			dir := image(t, base)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer})
				defer func() { w.close() }()
				ready(t, w)
				r := reapplying{t, w, printer, printer.Nodes()}
				w.applyOnly(t)
				p := &demo.Person{API: w.api, Name: "the played person"}
				for _, mm := range []float64{0.1, 0.2} {
					r.nodes(mm)
					if err := errors.Join(w.api.Reapply(t.Context()), p.Settled(t.Context(), api.Kept)); err != nil {
						t.Fatal(err)
					}
				}
				if old {
					w.close()
					s, _, err := store.Open(t.Context(), dir)
					if err != nil {
						t.Fatal(err)
					}
					entry, _, err := s.Applied(t.Context())
					entry.Origin = nil
					if err == nil {
						_, err = s.SaveApplied(t.Context(), entry)
					}
					if err := errors.Join(err, s.Close()); err != nil {
						t.Fatal(err)
					}
					w = open(t, dir, sc, &cable{printer: printer})
					ready(t, w)
				}
				r.nodes(0.4) // 0.2 mm from the map before, and 0.4 mm from the first
				var e *api.Error
				was := printer.Nodes()
				if err := w.api.Reapply(t.Context()); !errors.As(err, &e) || e.Code != "too-large" || !equalNodes(was, printer.Nodes()) {
					t.Errorf("beyond the limit from the first map: %v", err)
				}
				if err := errors.Join(w.api.Undo(t.Context()), (&demo.Person{API: w.api}).Settled(t.Context(), api.Undone)); err != nil || !equalNodes(was, printer.Nodes()) {
					t.Errorf("undo on a map that was measured anew: %v", err)
				}
				a, err := w.api.Applied(t.Context())
				if err != nil || !strings.Contains(a.Sentence, "Nothing was written") {
					t.Errorf("%+v, %v", a, err)
				}
			})
		})
	}
}
