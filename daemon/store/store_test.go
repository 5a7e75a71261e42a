package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

// open opens a store that is expected to be well.
func open(t testing.TB, dir string) *store.Store {
	t.Helper()
	s, notice, err := store.Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if notice != (store.Notice{}) {
		t.Fatalf("unexpected notice %+v", notice)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// events returns n events of a run: its opening and touches.
func events(run string, n int) []record.Event {
	out := []record.Event{{N: 1, Wall: time.Unix(1e9, 0).UTC(), Opened: &record.Opened{Version: 1, ID: run, Steps: []record.Step{record.StepSurvey}}}}
	for k := int64(2); k <= int64(n); k++ {
		out = append(out, record.Event{N: k, T: float64(k), Touch: &record.Touch{N: k, T: float64(k), Z: float64(k) / 1000, Series: record.SeriesSurvey, Spot: -1}})
	}
	return out
}

func TestEventsComeBack(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	ctx := t.Context()
	want := events("b", 40)
	if err := s.Append(ctx, "b", want[:7]...); err != nil {
		t.Fatal(err)
	}
	if err := s.Append(ctx, "b", want[7:]...); err != nil {
		t.Fatal(err)
	}
	if err := s.Append(ctx, "a", events("a", 1)...); err != nil {
		t.Fatal(err)
	}
	if err := s.Append(ctx, "b", record.Event{N: 41, Ended: &record.Ended{State: record.EndStopped}}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir)
	got, err := s.Events(ctx, "b", 0)
	if err != nil || len(got) != 41 || !reflect.DeepEqual(got[:40], want) {
		t.Errorf("%d events, %v", len(got), err)
	}
	if got, err := s.Events(ctx, "b", 39); err != nil || len(got) != 2 || got[0].N != 40 {
		t.Errorf("after 39: %+v, %v", got, err)
	}
	if got, err := s.Events(ctx, "none", 0); err != nil || len(got) != 0 {
		t.Errorf("of no run: %+v, %v", got, err)
	}
	r, err := s.Load(ctx, "b")
	if err != nil || len(r.Touches) != 39 || r.Ended == nil || r.Last != 41 {
		t.Errorf("run %+v, %v", r, err)
	}
	if _, err := s.Load(ctx, "none"); !errors.Is(err, store.ErrNone) {
		t.Errorf("load of no run: %v", err)
	}
	rows, err := s.Runs(ctx)
	if err != nil || len(rows) != 2 || rows[0].ID != "b" || rows[0].State != record.EndStopped || rows[0].Last != 41 ||
		rows[1].State != "" || !rows[1].Ended.IsZero() || !slices.Equal(rows[0].Steps, []record.Step{record.StepSurvey}) ||
		!rows[0].Began.Equal(time.Unix(1e9, 0)) {
		t.Errorf("runs %+v, %v", rows, err)
	}
}

func TestAppendRefuses(t *testing.T) {
	s := open(t, t.TempDir())
	ctx := t.Context()
	if err := s.Append(ctx, "a", events("a", 3)...); err != nil {
		t.Fatal(err)
	}
	note := &record.Note{Text: "x"}
	for name, try := range map[string]struct {
		run string
		e   []record.Event
	}{
		"a gap":                {"a", []record.Event{{N: 5, Note: note}}},
		"again":                {"a", []record.Event{{N: 3, Note: note}}},
		"a gap in the batch":   {"a", []record.Event{{N: 4, Note: note}, {N: 6, Note: note}}},
		"no opening":           {"b", []record.Event{{N: 1, Note: note}}},
		"an opening of others": {"b", events("c", 1)},
		"a second opening":     {"a", []record.Event{{N: 4, Opened: &record.Opened{ID: "a"}}}},
		"a run not opened":     {"b", []record.Event{{N: 2, Note: note}}},
	} {
		if err := s.Append(ctx, try.run, try.e...); !errors.Is(err, store.ErrOrder) {
			t.Errorf("%s: %v, want ErrOrder", name, err)
		}
	}
	nan := 0.0
	nan /= nan
	if err := s.Append(ctx, "a", record.Event{N: 4, Note: note}, record.Event{N: 5, Touch: &record.Touch{Z: nan}}); err == nil {
		t.Error("a NaN is stored")
	}
	if got, _ := s.Events(ctx, "a", 0); len(got) != 3 {
		t.Errorf("%d events after refusals, want 3: a refused batch must leave nothing", len(got))
	}
	if rows, _ := s.Runs(ctx); len(rows) != 1 {
		t.Errorf("%d runs after refusals", len(rows))
	}
}

// The file itself refuses to change or lose what was written.
func TestAppendOnly(t *testing.T) {
	s := open(t, t.TempDir())
	ctx := t.Context()
	if err := errors.Join(
		s.Append(ctx, "a", events("a", 3)...),
		s.Audit(ctx, "me", "apply", "d", time.Now()),
		s.SetOwed(ctx, []record.Switch{record.SwitchLimits}, "a halt"),
		s.SaveTable(ctx, "d", "a", json.RawMessage(`{}`)),
	); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SaveApplied(ctx, applied(store.Writing)); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{
		"UPDATE events SET body = '{}'", "DELETE FROM events", "INSERT INTO events VALUES ('a', 9, 'note', '{}', 0)",
		"UPDATE audit SET who = 'you'", "DELETE FROM audit", "UPDATE applied SET state = 'kept'", "DELETE FROM applied",
		"UPDATE owed SET switches = '[]'", "DELETE FROM owed", "UPDATE tables SET body = '[]'",
		"INSERT INTO events VALUES ('no such run', 1, 'note', '{}', 0)", "DELETE FROM runs",
		"INSERT INTO events VALUES ('a', 'four', 'note', '{}', 0)",
	} {
		if err := s.Exec(q); err == nil {
			t.Errorf("%s: let through", q)
		}
	}
}

func applied(state store.State) store.Applied {
	return store.Applied{
		State: state, Digest: "d1", Run: "a", Person: "the person at the bench",
		Before: [][]int64{{1, -2, 3}, {4, 5, 6}}, Add: [][]int64{{0, 10, 0}, {0, -10, 0}},
		Keep: true, Lever: record.Lever{X: -40, Y: 3}, At: time.Date(2026, 3, 1, 9, 0, 0, 5000, time.UTC),
	}
}

func TestApplied(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	ctx := t.Context()
	if _, there, err := s.Applied(ctx); there || err != nil {
		t.Errorf("empty journal: %v %v", there, err)
	}
	for _, first := range []store.State{store.Verifying, store.Kept, store.Undone, "nonsense"} {
		if _, err := s.SaveApplied(ctx, applied(first)); !errors.Is(err, store.ErrOrder) {
			t.Errorf("%q first: %v, want ErrOrder: the intent comes before", first, err)
		}
	}
	ragged := applied(store.Writing)
	ragged.Add = [][]int64{{0, 10}, {0, 10}}
	empty := applied(store.Writing)
	empty.Before, empty.Add = nil, nil
	for name, a := range map[string]store.Applied{"ragged": ragged, "empty": empty} {
		if _, err := s.SaveApplied(ctx, a); !errors.Is(err, store.ErrOrder) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for k, state := range []store.State{store.Writing, store.Verifying, store.Kept, store.Writing, store.Verifying, store.Undone, store.Writing} {
		n, err := s.SaveApplied(ctx, applied(state))
		if err != nil || n != int64(k+1) {
			t.Fatalf("%q: entry %d, %v", state, n, err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir)
	a, there, err := s.Applied(ctx)
	want := applied(store.Writing)
	want.N = 7
	if err != nil || !there || !reflect.DeepEqual(a, want) || !a.State.Open() {
		t.Errorf("%+v\nwant %+v, %v", a, want, err)
	}
	if tail, err := s.AppliedTail(ctx, 3); err != nil || len(tail) != 3 || tail[1].State != store.Undone {
		t.Errorf("tail %+v %v", tail, err)
	}
}

func TestOwedAuditReports(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	ctx := t.Context()
	if o, err := s.Owed(ctx); err != nil || len(o.Switches) != 0 {
		t.Errorf("%+v %v", o, err)
	}
	if err := s.SetOwed(ctx, []record.Switch{record.SwitchLevelling, record.SwitchLimits}, "the link was lost"); err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 3, 1, 9, 0, 0, 123456000, time.UTC)
	for k := range 5 {
		if err := s.Audit(ctx, "token", "confirm", fmt.Sprint(k), at); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(s.SaveReport(ctx, "restart", "M503 old", at), s.SaveReport(ctx, "restart", "M503 new\n", at)); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir)
	o, err := s.Owed(ctx)
	if err != nil || len(o.Switches) != 2 || o.Why != "the link was lost" || time.Since(o.At) > time.Minute {
		t.Errorf("%+v %v", o, err)
	}
	if err := s.ClearOwed(ctx); err != nil {
		t.Fatal(err)
	}
	if o, err := s.Owed(ctx); err != nil || len(o.Switches) != 0 {
		t.Errorf("cleared: %+v %v", o, err)
	}
	rows, err := s.AuditTail(ctx, 2)
	if err != nil || len(rows) != 2 || rows[0].Detail != "4" || !rows[0].At.Equal(at) || rows[0].Who != "token" {
		t.Errorf("%+v %v", rows, err)
	}
	text, when, err := s.Report(ctx, "restart")
	if err != nil || text != "M503 new\n" || !when.Equal(at) {
		t.Errorf("%q %v %v", text, when, err)
	}
	if _, _, err := s.Report(ctx, "none"); !errors.Is(err, store.ErrNone) {
		t.Errorf("%v", err)
	}
}

func TestTablesAndAnalyses(t *testing.T) {
	s := open(t, t.TempDir())
	ctx := t.Context()
	if err := s.Append(ctx, "a", events("a", 1)...); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(
		s.SaveTable(ctx, "d", "a", json.RawMessage(`{"x":1}`)),
		s.SaveTable(ctx, "d", "a", json.RawMessage(`{"x":2}`)), // the digest is there: left as it is
		s.SaveAnalysis(ctx, "a", json.RawMessage(`{"v":1}`)),
		s.SaveAnalysis(ctx, "a", json.RawMessage(`{"v":2}`)),
	); err != nil {
		t.Fatal(err)
	}
	run, body, err := s.Table(ctx, "d")
	if err != nil || run != "a" || string(body) != `{"x":1}` {
		t.Errorf("%s %s %v", run, body, err)
	}
	if body, err := s.Analysis(ctx, "a"); err != nil || string(body) != `{"v":2}` {
		t.Errorf("%s %v", body, err)
	}
	if _, _, err := s.Table(ctx, "none"); !errors.Is(err, store.ErrNone) {
		t.Errorf("%v", err)
	}
	if _, err := s.Analysis(ctx, "none"); !errors.Is(err, store.ErrNone) {
		t.Errorf("%v", err)
	}
	if err := s.SaveTable(ctx, "e", "no such run", json.RawMessage(`{}`)); err == nil {
		t.Error("a table of no run is kept")
	}
	if err := s.SaveTable(ctx, "f", "a", json.RawMessage(`{`)); err == nil {
		t.Error("a table that is no JSON is kept")
	}
}

func TestInUse(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	if _, _, err := store.Open(t.Context(), dir); !errors.Is(err, store.ErrInUse) {
		t.Errorf("a second one: %v, want ErrInUse", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	open(t, dir)
}

// What durability rests on is really in force (sqlite.org/pragma.html: 2 is
// FULL).
func TestPragmas(t *testing.T) {
	s := open(t, t.TempDir())
	for name, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "user_version": fmt.Sprint(store.Versions), "application_id": "1633837668"} {
		if got := s.Pragma(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
}

// A path may hold what a URL would take for something else.
func TestOddPath(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a b?c#d%20ü&mode=memory")
	s := open(t, dir)
	if err := s.Append(t.Context(), "a", events("a", 2)...); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if got, err := open(t, dir).Events(t.Context(), "a", 0); err != nil || len(got) != 2 {
		t.Errorf("%d events, %v", len(got), err)
	}
	for _, name := range []string{store.FileName, "abbed.lock", "abbed.begun"} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", name, info, err)
		}
	}
}

func TestUnwritable(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := store.Open(t.Context(), file); err == nil || !strings.Contains(err.Error(), file) {
		t.Errorf("a file for a directory: %v", err)
	}
}

// What was read or joined after the end of a run stands behind it: the run is no less
// ended for that, and is not taken for one whose program was killed.
func TestAfterTheEnd(t *testing.T) {
	s := open(t, t.TempDir())
	ctx := t.Context()
	all := events("a", 4)
	all[0].Opened.For = "earlier"
	all = append(all, record.Event{N: 5, Wall: time.Unix(1e9+9, 0).UTC(), Ended: &record.Ended{State: record.EndDone}},
		record.Event{N: 6, Reading: &record.Reading{Quantity: record.QuantityRoll, U: 1e-4}},
		record.Event{N: 7, Joined: &record.Joined{Run: "b", Gaps: []record.GapReading{{Event: 3, G: 0.1, U: 0.01}}}},
		record.Event{N: 8, Joined: &record.Joined{Run: "b", Gaps: []record.GapReading{{Event: 3, G: 0.7, U: 0.01}}}},
		record.Event{N: 9, Note: &record.Note{Text: "joined"}})
	if err := s.Append(ctx, "a", all...); err != nil {
		t.Fatal(err)
	}
	rows, err := s.Runs(ctx)
	if err != nil || len(rows) != 1 || rows[0].State != record.EndDone || rows[0].Last != 9 || rows[0].For != "earlier" || !rows[0].Ended.Equal(time.Unix(1e9+9, 0)) {
		t.Errorf("runs %+v, %v", rows, err)
	}
	r, err := s.Load(ctx, "a")
	if err != nil || len(r.Joined) != 1 || r.Joined[0].N != 7 || r.Joined[0].Gaps[0].G != 0.1 || r.For != "earlier" || !r.Has("b") || r.Has("a") {
		t.Errorf("the run %+v, %v: another run is joined once, as it was first", r.Joined, err)
	}
}
