package e2e_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestFailedHalfWay: a printer that takes no node from some moment on leaves the map
// half written, and putting back fails as well; once it takes nodes again the old map
// is written back on a person's word (take-back, or undo), also after a restart of the
// program, and finishing is refused with what to do.
func TestFailedHalfWay(t *testing.T) {
	t.Parallel()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		phase   string
		restart bool
		byUndo  bool
		end     api.AppliedState
	}{
		{"apply", false, false, api.PutBack},
		{"apply", true, true, api.PutBack},
		{"undo", false, true, api.Undone},
		{"undo", true, false, api.Undone},
	} {
		t.Run(fmt.Sprintf("%s restart %v undo %v", c.phase, c.restart, c.byUndo), func(t *testing.T) {
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				before := printer.Nodes()
				w := open(t, dir, sc, &cable{printer: printer})
				defer func() { w.close() }()
				p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
				o := &ask.Outcome{}
				if o.Run, err = p.Measure(t.Context(), "repeat", "gauging", "survey"); err != nil {
					t.Fatal(err)
				}
				if err := o.Read(t.Context(), w.api); err != nil || o.Table.Digest == nil {
					t.Fatalf("no table: %+v, %v", o.Table.Refused, err)
				}
				refuse := func() {
					for k := range 300 {
						printer.Inject(bench.Fault{Name: "refused", When: fmt.Sprintf("M421:%d", 6+k)})
					}
				}
				if c.phase == "undo" {
					if err := p.Apply(t.Context(), o); err != nil {
						t.Fatal(err)
					}
					refuse()
					if err := w.api.Undo(t.Context()); err != nil {
						t.Fatal(err)
					}
					err = p.Settled(t.Context(), api.Undone)
				} else {
					refuse()
					err = p.Apply(t.Context(), o)
				}
				a, _ := w.api.Applied(t.Context())
				if err == nil || a.State != api.ApplyFailed || !a.Half || a.Error == nil || nearNodes(printer.Nodes(), before) {
					t.Fatalf("%v: %+v", err, a)
				}
				var e *api.Error
				if err := w.api.Resolve(t.Context(), "finish"); !errors.As(err, &e) || e.Code != "wrong-state" {
					t.Errorf("finish: %v", err)
				}
				printer.Calm()
				if c.restart {
					w.close()
					w = open(t, dir, sc, &cable{printer: printer})
					ready(t, w)
					p.API = w.api
				}
				back := func() error { return w.api.Resolve(t.Context(), "take-back") }
				if c.byUndo {
					back = func() error { return w.api.Undo(t.Context()) }
				}
				if err := back(); err != nil {
					t.Fatal(err)
				}
				if err := p.Settled(t.Context(), c.end); err != nil {
					t.Error(err)
				}
				if !nearNodes(printer.Nodes(), before) || !nearNodes(printer.Kept(), before) {
					t.Errorf("the map is\n%v, kept\n%v, want\n%v", printer.Nodes(), printer.Kept(), before)
				}
				if err := back(); err == nil {
					t.Error("it was taken back twice")
				}
				safe(t, w)
			})
		})
	}
}
