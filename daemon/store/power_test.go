package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/daemon/store/storetest"
	"abbed/probe/record"
)

// cuts is how many random power cuts are tried at each point, beside the one
// that loses everything which was not synced.
var cuts = flag.Int("cuts", 1, "random power cuts at each point of TestPowerCut")

// confirmed is what the store has returned without an error, in numbers.
type confirmed struct{ Events, Applied, Audit, Owed, Tables, Analyses, Reports, Dropped int64 }

// confirmedOf counts what is there.
func confirmedOf(t *testing.T, s *store.Store, run string) (c confirmed) {
	t.Helper()
	ctx := t.Context()
	events, err := s.Events(ctx, run, 0)
	a, _, errA := s.Applied(ctx)
	rows, errB := s.AuditTail(ctx, 1<<20)
	o, errC := s.Owed(ctx)
	if err := errors.Join(err, errA, errB, errC); err != nil {
		t.Error(err)
	}
	c.Events, c.Applied, c.Audit = int64(len(events)), a.N, int64(len(rows))
	if _, err := fmt.Sscanf(o.Why, "why %d", &c.Owed); err != nil && o.Why != "" {
		t.Errorf("owed says %q", o.Why)
	}
	for n := int64(1); ; n++ {
		if _, body, err := s.Table(ctx, fmt.Sprintf("d%d", n)); err != nil || !json.Valid(body) {
			break
		}
		c.Tables = n
	}
	c.Analyses = numbered(s.Analysis(ctx, run))
	text, _, _ := s.Report(ctx, "r")
	_, _ = fmt.Sscanf(text, "report %d", &c.Reports)
	if list, err := s.Runs(ctx); err == nil && c.Events > 0 && !slices.ContainsFunc(list, func(r store.RunRow) bool { return r.ID == "old" }) {
		c.Dropped = 1
	}
	return c
}

func numbered(b []byte, _ error) (n int64) {
	var v struct{ V int64 }
	_ = json.Unmarshal(b, &v)
	return v.V
}

// below returns the fields in which c has less than want.
func (c confirmed) below(want confirmed) (out []string) {
	a, b := reflect.ValueOf(c), reflect.ValueOf(want)
	for i := range a.NumField() {
		if a.Field(i).Int() < b.Field(i).Int() {
			out = append(out, fmt.Sprintf("%s: %d of %d", a.Type().Field(i).Name, a.Field(i).Int(), b.Field(i).Int()))
		}
	}
	return out
}

// powerCut is a store on a disk whose power goes at every single thing that is
// asked of it.
type powerCut struct {
	t      *testing.T
	disk   *storetest.Disk
	rnd    *rand.Rand
	act    string // what the store is doing
	sure   confirmed
	points map[string]int // by name
	images int
}

// cut is told of each thing that is asked of the disk, before it is done.
func (p *powerCut) cut(op storetest.Op) storetest.Fault {
	if op.Kind == storetest.Read {
		return storetest.None
	}
	name := fmt.Sprintf("%s: %s %s", p.act, op.Kind, op.File)
	p.points[name]++
	for k := range 1 + *cuts {
		var rnd *rand.Rand
		if k > 0 {
			rnd = p.rnd
		}
		p.hold(name, rnd)
	}
	return storetest.None
}

// hold opens what a cut leaves: without a word, with all that was confirmed, and
// ready to go on.
func (p *powerCut) hold(name string, rnd *rand.Rand) {
	p.images++
	dir := p.disk.Image(p.t, rnd)
	defer os.RemoveAll(dir)
	s, notice, err := store.Open(context.Background(), dir)
	if err != nil || notice != (store.Notice{}) {
		p.t.Fatalf("%s: %+v %v", name, notice, err)
	}
	defer s.Close()
	got := confirmedOf(p.t, s, "a")
	if less := got.below(p.sure); len(less) > 0 {
		p.t.Errorf("%s: lost %v", name, less)
	}
	next := record.Event{N: got.Events + 1, Note: &record.Note{Text: "on"}}
	if got.Events == 0 {
		next = events("a", 1)[0]
	}
	if err := s.Append(context.Background(), "a", next); err != nil {
		p.t.Errorf("%s: it cannot go on: %v", name, err)
	}
}

// TestPowerCut has the power go at every single open, write, truncate, sync and
// delete that the store asks of the disk, from the first start to the closing:
// what was confirmed is there, each call whole or not at all, nothing is taken
// for damage. Each point has a name; those that must occur are listed.
func TestPowerCut(t *testing.T) {
	if testing.Short() {
		t.Skip("opens a thousand stores")
	}
	dir := memoryDir(t)
	p := &powerCut{t: t, disk: storetest.Watch(t, dir), rnd: rand.New(rand.NewPCG(3, 9)), points: map[string]int{}}
	p.disk.On(p.cut)
	for round := range 2 {
		p.work(dir, round)
	}
	p.disk.On(nil)
	for _, want := range []string{
		"begin: open abbed.db", "begin: write abbed.db", "begin: sync abbed.db", "begin: write abbed.db-wal", "begin: sync abbed.db-wal",
		"append: write abbed.db-wal", "append: sync abbed.db-wal", "apply: write abbed.db-wal", "apply: sync abbed.db-wal",
		"audit: sync abbed.db-wal", "owe: sync abbed.db-wal", "table: sync abbed.db-wal", "analysis: sync abbed.db-wal",
		"report: sync abbed.db-wal", "drop: sync abbed.db-wal", "merge: write abbed.db", "merge: sync abbed.db", "merge: write abbed.db-wal",
		"close: write abbed.db", "close: sync abbed.db", "close: delete abbed.db-wal", "again: open abbed.db-wal",
	} {
		if p.points[want] == 0 {
			t.Errorf("the power never went at %q", want)
		}
	}
	if t.Failed() {
		t.Logf("points: %v", p.points)
	}
	t.Logf("%d points of %d names, %d images opened", sumOf(p.points), len(p.points), p.images)
}

func sumOf(m map[string]int) (n int) {
	for _, k := range m {
		n += k
	}
	return n
}

// work is a life of the store: every kind of call, and a merge of the log.
func (p *powerCut) work(dir string, round int) {
	t, ctx := p.t, p.t.Context()
	p.act = []string{"begin", "again"}[round]
	s, notice, err := store.Open(ctx, dir)
	if err != nil || notice != (store.Notice{}) {
		t.Fatal(notice, err)
	}
	if err := s.Exec("PRAGMA wal_autocheckpoint = 0"); err != nil {
		t.Fatal(err)
	}
	step := func(act string, sure *int64, f func() error) {
		t.Helper()
		p.act = act
		if err := f(); err != nil {
			t.Fatalf("%s: %v", act, err)
		}
		*sure++
	}
	var none int64
	if round == 0 {
		step("append", &none, func() error { return s.Append(ctx, "old", events("old", 3)...) })
	}
	for range 4 {
		n := p.sure.Events + 1
		step("append", &p.sure.Events, func() error { return s.Append(ctx, "a", events("a", int(n))[n-1]) })
	}
	for _, state := range []store.State{store.Writing, store.Verifying, store.Kept} {
		step("apply", &p.sure.Applied, func() error { _, err := s.SaveApplied(ctx, applied(state)); return err })
	}
	step("audit", &p.sure.Audit, func() error { return s.Audit(ctx, "a person", "x", "y", time.Now()) })
	step("owe", &p.sure.Owed, func() error {
		return s.SetOwed(ctx, []record.Switch{record.SwitchLimits}, fmt.Sprintf("why %d", p.sure.Owed+1))
	})
	step("table", &p.sure.Tables, func() error {
		return s.SaveTable(ctx, fmt.Sprintf("d%d", p.sure.Tables+1), "a", json.RawMessage(`{}`))
	})
	step("analysis", &p.sure.Analyses, func() error {
		return s.SaveAnalysis(ctx, "a", fmt.Appendf(nil, `{"v":%d}`, p.sure.Analyses+1))
	})
	step("report", &p.sure.Reports, func() error { return s.SaveReport(ctx, "r", fmt.Sprintf("report %d", p.sure.Reports+1), time.Now()) })
	step("merge", &none, func() error { return s.Exec("PRAGMA wal_checkpoint(RESTART)") })
	if round == 0 {
		step("drop", &p.sure.Dropped, func() error { return s.Drop(ctx, "old", "age") })
	}
	n := p.sure.Events + 1
	step("append", &p.sure.Events, func() error { return s.Append(ctx, "a", events("a", int(n))[n-1]) })
	// The log begins anew over its old frames.
	step("merge", &none, func() error { return s.Append(ctx, "b"+fmt.Sprint(round), events("b"+fmt.Sprint(round), 2)...) })
	p.act = "close"
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// memoryDir is a directory in memory where the system has one.
func memoryDir(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "abbed-store-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// A store that does not sync loses what was confirmed: the disk of these tests
// would show it.
func TestPowerCutFindsALiar(t *testing.T) {
	dir := memoryDir(t)
	disk := storetest.Watch(t, dir)
	s := open(t, dir)
	if err := s.Exec("PRAGMA synchronous = OFF"); err != nil {
		t.Fatal(err)
	}
	if err := s.Append(t.Context(), "a", events("a", 5)...); err != nil {
		t.Fatal(err)
	}
	got, err := open(t, disk.Image(t, nil)).Events(t.Context(), "a", 0)
	if err != nil || len(got) != 0 {
		t.Errorf("%d events that were never synced are there, %v", len(got), err)
	}
	if _, err := os.Stat(filepath.Join(dir, store.FileName)); err != nil {
		t.Error(err)
	}
}
