package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

func TestRetention(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	ctx := t.Context()
	now := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	for k, age := range []int{400, 300, 200, 100, 0} { // days
		run := fmt.Sprintf("r%d", k)
		es := events(run, 200)
		es[0].Wall = now.Add(-time.Duration(age) * 24 * time.Hour)
		if err := errors.Join(s.Append(ctx, run, es...), s.SaveTable(ctx, "d"+run, run, []byte(`{}`)), s.SaveAnalysis(ctx, run, []byte(`{}`))); err != nil {
			t.Fatal(err)
		}
	}
	names := func(rows []store.RunRow) (out []string) {
		for _, r := range rows {
			out = append(out, r.ID)
		}
		return out
	}
	used, err := s.Usage(ctx)
	if err != nil || used < 5*200*100 {
		t.Fatalf("%d bytes used, %v", used, err)
	}
	for name, try := range map[string]struct {
		keep store.Keep
		at   time.Time
		want []string
	}{
		"for ever":          {store.Keep{}, now, nil},
		"a year":            {store.Keep{Days: 365}, now, []string{"r0"}},
		"a year, in 70 d":   {store.Keep{Days: 365}, now.Add(70 * 24 * time.Hour), []string{"r0", "r1"}},
		"a day":             {store.Keep{Days: 1}, now, []string{"r0", "r1", "r2", "r3"}},
		"bytes for all":     {store.Keep{Bytes: used}, now, nil},
		"one byte too much": {store.Keep{Bytes: used - 1}, now, []string{"r0"}},
		"no room at all":    {store.Keep{Bytes: 1}, now, []string{"r0", "r1", "r2", "r3"}},
	} {
		due, err := s.Due(ctx, try.keep, try.at)
		if err != nil || !reflect.DeepEqual(names(due), try.want) {
			t.Errorf("%s: %v %v, want %v", name, names(due), err, try.want)
		}
	}
	a := applied(store.Writing)
	a.Run = "r1"
	if _, err := s.SaveApplied(ctx, a); err != nil {
		t.Fatal(err)
	}
	if due, err := s.Due(ctx, store.Keep{Days: 250}, now); err != nil || !reflect.DeepEqual(names(due), []string{"r0"}) {
		t.Errorf("%v %v: the run of what is applied falls", names(due), err)
	}
	if err := s.Drop(ctx, "r1", "age"); !errors.Is(err, store.ErrOrder) {
		t.Errorf("the run of what is applied: %v", err)
	}
	if err := s.Drop(ctx, "none", "age"); !errors.Is(err, store.ErrNone) {
		t.Errorf("no run: %v", err)
	}
	if err := s.Drop(ctx, "r0", "age"); err != nil {
		t.Fatal(err)
	}
	rows, err := s.Runs(ctx)
	if err != nil || !reflect.DeepEqual(names(rows), []string{"r4", "r3", "r2", "r1"}) {
		t.Errorf("%v %v", names(rows), err)
	}
	if _, _, err := s.Table(ctx, "dr0"); !errors.Is(err, store.ErrNone) {
		t.Errorf("its table: %v", err)
	}
	if less, err := s.Usage(ctx); err != nil || less >= used {
		t.Errorf("%d bytes used, %d before, %v", less, used, err)
	}
	if err := s.Append(ctx, "r0", events("r0", 1)...); err == nil {
		t.Error("a dropped run begins again")
	}
	if err := s.Exec("DELETE FROM events WHERE run = 'r2'"); err == nil {
		t.Error("events of a run that was not dropped can be deleted")
	}
}

func TestBackup(t *testing.T) {
	s := open(t, t.TempDir())
	l := begin(t, s)
	for range 50 {
		if _, err := l.Append(record.Event{Gauging: &record.Gauging{}}); err != nil {
			t.Fatal(err)
		}
	}
	dir := t.TempDir()
	file := filepath.Join(dir, store.FileName)
	if err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info, err)
	}
	if err := s.Backup(t.Context(), file); !errors.Is(err, os.ErrExist) {
		t.Errorf("over a file that is there: %v", err)
	}
	if err := s.Backup(t.Context(), filepath.Join(dir, "no", "such")); err == nil {
		t.Error("into a directory that is not there")
	}
	r, err := open(t, dir).Load(t.Context(), l.ID())
	if err != nil || !reflect.DeepEqual(r, l.Run()) {
		t.Errorf("the copy differs: %v", err)
	}
}
