package e2e_test

import (
	"errors"
	"io"
	"math/rand/v2"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/gcode/bench"
)

// screen is a page as a browser gets it.
func (w *world) screen(t *testing.T, path string) string {
	t.Helper()
	r, err := (&http.Client{Transport: w.transport.(http.RoundTripper)}).Get(w.house.URL() + path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// asked is what a person should do at the printer now, "" for nothing.
func (w *world) asked(t *testing.T) string {
	t.Helper()
	synctest.Wait()
	p, err := w.api.Printer(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, d := range p.Todo {
		ids = append(ids, d.ID)
	}
	return strings.Join(ids, " ")
}

// TestFronts: where a person should do something, page, log, metrics, room and API say so in
// the same words, and the act that they name is done: after a kill in an apply, after the
// printer measured its map anew, and where another printer is at the port.
func TestFronts(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	// half leaves the journal as a kill in the middle of an apply does.
	half := func(t *testing.T, dir string) {
		s, _, err := store.Open(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		a, _, err := s.Applied(t.Context())
		a.State = store.Writing
		if err == nil {
			_, err = s.SaveApplied(t.Context(), a)
		}
		if err := errors.Join(err, s.Close()); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		killed bool
		other  bool // another printer is at the port
		anew   bool // the printer measures its map anew
		id     string
		wrong  func(w *world, t *testing.T) error // is refused
		act    func(w *world, t *testing.T) error
		ends   api.AppliedState
		has    bool // the map has the correction then
	}{
		"killed, taken back": {killed: true, id: status.TodoHalfWritten, act: (*world).undoes, ends: api.PutBack},
		"killed, finished":   {killed: true, id: status.TodoHalfWritten, act: (*world).reapplies, ends: api.Kept, has: true},
		"map anew":           {anew: true, id: status.TodoMap, act: (*world).reapplies, ends: api.Kept, has: true},
		"other printer":      {other: true, id: status.TodoOther, wrong: (*world).reapplies, act: (*world).undoes, ends: api.Undone},
		"other, half":        {other: true, killed: true, id: status.TodoOther + " " + status.TodoHalfWritten, wrong: (*world).reapplies, act: (*world).undoes, ends: api.Undone},
	} {
		t.Run(name, func(t *testing.T) {
			dir := image(t, base)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				before := printer.Nodes()
				w := open(t, dir, sc, &cable{printer: printer})
				ready(t, w)
				if w.asked(t) != "" {
					t.Fatalf("at first: %s", w.asked(t))
				}
				w.applyOnly(t)
				if strings.Contains(w.said.String(), "lacks the correction") {
					t.Errorf("a map that is being written is taken for one that lacks it:\n%s", w.said.String())
				}
				w.close()
				if c.killed {
					half(t, dir)
				}
				if c.anew {
					reapplying{t: t, printer: printer, before: before}.nodes(0.004)
				}
				if c.other {
					other := sc
					other.Name = "another"
					printer = bench.New(other, bench.Options{Seed: 3})
				}
				w = open(t, dir, sc, &cable{printer: printer})
				defer w.close()
				ready(t, w)
				wait(t)
				was := printer.Nodes()
				if got := w.asked(t); got != c.id {
					t.Fatalf("asked for %q, want %q", got, c.id)
				}
				p, err := w.api.Printer(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				todo, metrics, page := p.Todo[0], w.metrics(t), w.screen(t, "/")
				if !strings.Contains(metrics, `abbed_to_do{id="`+todo.ID+`"} 1`) || strings.Contains(metrics, `gap_error_largest_meters{when="after"}`) {
					t.Errorf("metrics: %s", metrics)
				}
				if !strings.Contains(page, todo.Act) || strings.Contains(page, "Prepare a run") == (todo.Grave || c.killed) {
					t.Errorf("the overview does not lead with %q, or offers a run that is refused: %s", todo.Act, page)
				}
				if !strings.Contains(w.said.String(), todo.Says) {
					t.Errorf("the log does not say %q:\n%s", todo.Says, w.said.String())
				}
				if c.killed {
					var e *api.Error
					if _, err := w.api.StartRun(t.Context(), "repeat"); !errors.As(err, &e) || strings.Contains(e.Hint, "POST") || !strings.Contains(e.Hint, "Undo") {
						t.Errorf("a run: %v, want an act that a person can do", err)
					}
				}
				var e *api.Error
				if c.wrong != nil {
					if err := c.wrong(w, t); !errors.As(err, &e) || e.Code != "printer-changed" {
						t.Errorf("%v, want printer-changed", err)
					}
				}
				if c.other || c.anew {
					if _, err := w.api.Prove(t.Context()); !errors.As(err, &e) || e.Code != "expired" && e.Code != "owed" {
						t.Errorf("a correction that is not in the map is verified: %v", err)
					}
				}
				if undo := w.screen(t, "/applied"); c.other && !c.killed && (!strings.Contains(undo, "Nothing is written to the printer.") || strings.Contains(undo, "writes the old bed map back")) {
					t.Errorf("what the undo does to another printer is told otherwise: %s", undo)
				}
				if err := c.act(w, t); err != nil {
					t.Fatal(err)
				}
				if err := (&demo.Person{API: w.api}).Settled(t.Context(), c.ends); err != nil {
					t.Fatal(err)
				}
				time.Sleep(time.Second)
				if got := w.asked(t); got != "" {
					t.Errorf("still asked for %q", got)
				}
				switch now := printer.Nodes(); {
				case c.other && !equalNodes(now, was):
					t.Error("another printer's map was written to")
				case !c.other && !c.anew && equalNodes(now, before) == c.has:
					t.Errorf("the map has the correction: %v, want %v", !c.has, c.has)
				}
				if _, err := w.api.StartRun(t.Context(), "repeat"); err != nil {
					t.Errorf("a run after it: %v", err)
				}
			})
		})
	}
}

func (w *world) undoes(t *testing.T) error    { return w.api.Undo(t.Context()) }
func (w *world) reapplies(t *testing.T) error { return w.api.Reapply(t.Context()) }

// TestStopOfWaitingRun: a stop of a run that has not moved withdraws it, and sends nothing: the
// board is not halted.
func TestStopOfWaitingRun(t *testing.T) {
	sc := lookup(t, "healthy")
	synctest.Test(t, func(t *testing.T) {
		var sent heard
		w := open(t, memoryDir(t), sc, &cable{printer: bench.New(sc, bench.Options{Seed: 2}), trace: func(_, line string) { _, _ = sent.Write([]byte(line + "\n")) }})
		defer w.close()
		ready(t, w)
		for range 2 {
			run, err := w.api.StartRun(t.Context(), "repeat")
			if err != nil {
				t.Fatal(err)
			}
			said, err := w.api.Stop(t.Context())
			if err != nil || said.Requested || !strings.Contains(said.Text, "withdrawn") {
				t.Errorf("%+v, %v", said, err)
			}
			if run, err = w.api.Run(t.Context(), run.ID); err != nil || run.State != api.Stopped || run.Sentence != "Withdrawn before it began. Nothing was sent to the printer." {
				t.Errorf("%s: %s, %v", run.State, run.Sentence, err)
			}
		}
		wait(t)
		if strings.Contains(sent.String(), "M112") {
			t.Error("the board was told to halt")
		}
		if p, err := w.api.Printer(t.Context()); err != nil || p.Link != api.Ready {
			t.Errorf("%s, %v", p.Link, err)
		}
	})
}

// TestUnsteadyIsAsked: a printer that does not repeat asks for its repair on the overview, in
// the room and in the log, also after a restart, until a check finds it sound.
func TestUnsteadyIsAsked(t *testing.T) {
	loose, sound := lookup(t, "loose-carriage"), lookup(t, "healthy")
	sound.Name = loose.Name // the same printer, repaired
	dir, shared := memoryDir(t), filepath.Join(memoryDir(t), "room")
	inRoom := func(s *config.Settings) { s.Room = shared }
	synctest.Test(t, func(t *testing.T) {
		for _, c := range []struct {
			sc      bench.Scenario
			checked bool
			asked   string
		}{{loose, true, status.TodoUnsteady}, {loose, false, status.TodoUnsteady}, {sound, true, ""}} {
			printer := bench.New(c.sc, bench.Options{Seed: 2})
			w := open(t, dir, c.sc, &cable{printer: printer}, inRoom)
			ready(t, w)
			if p := (&demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}); c.checked {
				if run, err := p.Measure(t.Context(), "repeat"); err != nil || run.State != api.Done {
					t.Fatalf("%s, %v", run.State, err)
				}
			}
			time.Sleep(5 * time.Second) // the room shows a change after 2 s
			room, err := w.api.Room(t.Context())
			if got := w.asked(t); got != c.asked || err != nil || len(room) != 1 || (len(room[0].Todo) == 1) != (c.asked != "") {
				t.Errorf("asked for %q, want %q; the room: %+v, %v", got, c.asked, room, err)
			}
			for _, m := range status.Matters() {
				if m.ID == status.TodoUnsteady && (strings.Contains(w.screen(t, "/"), m.Act) != (c.asked != "") || !strings.Contains(w.said.String(), m.Says)) { // the repaired one asks until it is checked
					t.Errorf("overview and log do not agree: asked for %q", c.asked)
				}
			}
			w.close()
		}
	})
}
