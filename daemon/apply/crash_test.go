package apply_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"abbed/daemon/apply"
	"abbed/daemon/store"
	"abbed/daemon/store/storetest"
	"abbed/gcode"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// mortal is a program that dies at one of its points: what the disk and the
// printer hold then is all that is left.
type mortal struct {
	t       *testing.T
	store   *store.Store
	disk    *storetest.Disk
	printer *printer
	sure    int64 // the last entry of the journal that was confirmed
	entry   string
	at      int // of so many points, from 1; 0: never
	names   []string
	dead    *remains
}

// After a death the printer goes on or restarts too, and the person finishes or
// takes back: four deaths for each image of the disk.
const deaths, images = 4, 4

// remains is what a death leaves: the state directory when the daemon alone
// dies, or with the power in two ways; and the printer.
type remains struct {
	dirs        []string
	nodes, kept [][]int64
	sure        int64
}

// point is a point at which the program may die, by name.
func (m *mortal) point(name string) {
	if m.dead != nil {
		return
	}
	m.names = append(m.names, name)
	if len(m.names) != m.at {
		return
	}
	m.dead = &remains{nodes: clone(m.printer.nodes), kept: clone(m.printer.kept), sure: m.sure}
	for k := range images {
		var rnd *rand.Rand // the first loses all that was not synced
		if k%deaths != 0 {
			rnd = rand.New(rand.NewPCG(uint64(m.at), uint64(k)))
		}
		m.dead.dirs = append(m.dead.dirs, m.disk.Image(m.t, rnd))
	}
}

// Ask implements apply.Line.
func (m *mortal) Ask(ctx context.Context, q gcode.Query) (gcode.Reply, error) {
	name := q.Text()
	switch {
	case name == "M500":
		name = "keep"
	case name == "M420 V":
		name = "read the map"
	default:
		name = "write a node"
	}
	m.point("before: " + name)
	if m.dead != nil {
		return gcode.Reply{}, fmt.Errorf("ask: %w", gcode.ErrClosed)
	}
	r, err := m.printer.Ask(ctx, q)
	m.point("after: " + name)
	if m.dead != nil {
		return gcode.Reply{}, fmt.Errorf("ask: %w", gcode.ErrClosed)
	}
	return r, err
}

// SaveApplied implements apply.Journal.
func (m *mortal) SaveApplied(ctx context.Context, a store.Applied) (int64, error) {
	m.entry = string(a.State)
	defer func() { m.entry = "" }()
	m.point("before: entry " + m.entry)
	if m.dead != nil {
		return 0, gcode.ErrClosed
	}
	n, err := m.store.SaveApplied(ctx, a)
	if err == nil && m.dead == nil {
		m.sure = n
	}
	m.point("after: entry " + m.entry)
	if m.dead != nil {
		return 0, gcode.ErrClosed
	}
	return n, err
}

// hear is told of what the store asks of the disk.
func (m *mortal) hear(op storetest.Op) storetest.Fault {
	if op.Kind != storetest.Read && m.entry != "" {
		m.point(fmt.Sprintf("in entry %s: %s %s", m.entry, op.Kind, op.File))
	}
	return storetest.None
}

// stateDir is a state directory with the run that the table came from.
func stateDir(t *testing.T) (string, *store.Store, *storetest.Disk) {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "abbed-apply-")
	if err != nil {
		dir = t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	disk := storetest.Watch(t, dir)
	s, notice, err := store.Open(t.Context(), dir)
	if err != nil || notice != (store.Notice{}) {
		t.Fatal(notice, err)
	}
	if err := s.Append(t.Context(), "run", record.Event{N: 1, Wall: time.Now(), Opened: &record.Opened{Version: 1, ID: "run"}}); err != nil {
		t.Fatal(err)
	}
	return dir, s, disk
}

// scripts are the ways through this package; before is run without a death.
var scripts = map[string]struct {
	before, do func(context.Context, apply.Desk, store.Applied) (store.Applied, error)
	spoil      func(*printer)
}{
	"apply": {nil, applies, nil},
	"undo":  {applies, undoes, nil},
	"apply, and a node is refused": {nil, applies, func(p *printer) {
		p.failAt, p.refuse = 4, "Error: no such node"
	}},
	"apply, and a node is rounded": {nil, applies, func(p *printer) { p.failAt, p.wrong = 5, 10 }},
	"finish what was cut off":      {cutOff, resolves(apply.Finish), nil},
	"take back what was cut off":   {cutOff, resolves(apply.TakeBack), nil},
	"take back an undo":            {undoCutOff, resolves(apply.TakeBack), nil},
}

func applies(ctx context.Context, d apply.Desk, a store.Applied) (store.Applied, error) {
	return d.Apply(ctx, a)
}

func undoes(ctx context.Context, d apply.Desk, a store.Applied) (store.Applied, error) {
	return d.Undo(ctx, a)
}

func resolves(c apply.Choice) func(context.Context, apply.Desk, store.Applied) (store.Applied, error) {
	return func(ctx context.Context, d apply.Desk, a store.Applied) (store.Applied, error) {
		return d.Resolve(ctx, a, c)
	}
}

// cutOff is an apply whose line is lost at the fourth question.
func cutOff(ctx context.Context, d apply.Desk, a store.Applied) (store.Applied, error) {
	p := d.Line.(*mortal).printer
	p.failAt, p.failure = p.asked+4, fmt.Errorf("ask: %w", gcode.ErrLost)
	a, _ = d.Apply(ctx, a)
	p.failAt, p.failure = 0, nil
	return a, nil
}

func undoCutOff(ctx context.Context, d apply.Desk, a store.Applied) (store.Applied, error) {
	a, err := d.Apply(ctx, a)
	if err != nil {
		return a, err
	}
	p := d.Line.(*mortal).printer
	p.failAt, p.failure = p.asked+3, fmt.Errorf("ask: %w", gcode.ErrLost)
	a, _ = d.Undo(ctx, a)
	p.failAt, p.failure = 0, nil
	return a, nil
}

// play runs a script that dies at a point.
func play(t *testing.T, name string, at int) *mortal {
	t.Helper()
	sc := scripts[name]
	words, err := dialect.New(dialect.Default())
	if err != nil {
		t.Fatal(err)
	}
	_, s, disk := stateDir(t)
	defer s.Close()
	m := &mortal{t: t, store: s, disk: disk, printer: &printer{nodes: clone(before), kept: clone(before)}}
	d := apply.Desk{Writer: apply.Writer{Line: m, Words: words}, Journal: m, Now: time.Now, Largest: 500}
	a := apply.Intent(table(), "run", "a person", nil)
	if sc.before != nil {
		if a, err = sc.before(t.Context(), d, a); err != nil {
			t.Fatal(err)
		}
	}
	if sc.spoil != nil {
		sc.spoil(m.printer)
	}
	m.names, m.at = nil, at
	disk.On(m.hear)
	defer disk.On(nil)
	_, _ = sc.do(t.Context(), d, a)
	return m
}

// TestCrashPoints has the program die at every point of every way through apply,
// by name: before and after each word to the printer, before, in and after each
// entry of the journal, where the power goes too and takes what was not synced
// with it. Nothing confirmed is lost; where the journal says that something
// ended, the map is whole and as it says; else the person's word makes it the
// old or the new one, in force and kept.
func TestCrashPoints(t *testing.T) {
	died, names := 0, map[string]bool{}
	for name := range scripts {
		t.Run(name, func(t *testing.T) {
			points := play(t, name, 0).names
			for at := 1; at <= len(points); at++ {
				m := play(t, name, at)
				if m.dead == nil || m.names[at-1] != points[at-1] {
					t.Fatalf("point %d, %q, did not come", at, points[at-1])
				}
				names[points[at-1]] = true
				for k, dir := range m.dead.dirs {
					died++
					restarted, c := (at+k)%2 == 0, []apply.Choice{apply.Finish, apply.TakeBack}[(at+k)/2%2]
					m.dead.revive(t, fmt.Sprintf("%s, image %d, printer restarted %v, then %s", points[at-1], k, restarted, c), dir, restarted, c)
				}
			}
		})
	}
	for _, want := range []string{
		"before: entry writing", "in entry writing: write abbed.db-wal", "in entry writing: sync abbed.db-wal", "after: entry writing",
		"before: write a node", "after: write a node", "before: entry verifying", "in entry verifying: sync abbed.db-wal", "after: entry verifying",
		"before: read the map", "after: read the map", "before: keep", "after: keep",
		"before: entry kept", "in entry kept: sync abbed.db-wal", "after: entry kept",
		"before: entry put-back", "in entry put-back: sync abbed.db-wal", "after: entry put-back",
		"before: entry undone", "in entry undone: sync abbed.db-wal", "after: entry undone",
	} {
		if !names[want] {
			t.Errorf("nobody died at %q", want)
		}
	}
	t.Logf("%d deaths at points of %d names: %s", died, len(names), strings.Join(sorted(names), "; "))
}

func sorted(m map[string]bool) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// revive starts again on what is left.
func (r *remains) revive(t *testing.T, name, dir string, restarted bool, c apply.Choice) {
	t.Helper()
	s, notice, err := store.Open(t.Context(), dir)
	if err != nil || notice != (store.Notice{}) {
		t.Fatalf("%s: %+v %v", name, notice, err)
	}
	defer s.Close()
	p := &printer{nodes: clone(r.nodes), kept: clone(r.kept)}
	if restarted {
		p.nodes = clone(p.kept)
	}
	a, there, err := s.Applied(t.Context())
	if err != nil || a.N < r.sure {
		t.Fatalf("%s: entry %d of %d that were confirmed, %v", name, a.N, r.sure, err)
	}
	want := map[store.State][][]int64{"": before, store.Kept: after, store.PutBack: before, store.Undone: before}[a.State]
	if !there || !a.State.Open() {
		if want == nil || !reflect.DeepEqual(p.nodes, want) || !reflect.DeepEqual(p.kept, want) {
			t.Errorf("%s: the journal says %q, the map is %v, kept %v", name, a.State, p.nodes, p.kept)
		}
		return
	}
	words, err := dialect.New(dialect.Default())
	if err != nil {
		t.Fatal(err)
	}
	d := apply.Desk{Writer: apply.Writer{Line: p, Words: words}, Journal: s, Now: time.Now, Largest: 500}
	b, err := d.Resolve(t.Context(), a, c)
	want = before
	if b.State == store.Kept {
		want = after
	}
	if err != nil || b.State.Open() || c == apply.TakeBack && b.State == store.Kept || !reflect.DeepEqual(p.nodes, want) || !reflect.DeepEqual(p.kept, want) {
		t.Errorf("%s: from %s to %s, %v: the map is %v, kept %v", name, a.State, b.State, err, p.nodes, p.kept)
	}
}
