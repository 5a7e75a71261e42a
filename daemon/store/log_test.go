package store_test

import (
	"errors"
	"fmt"
	"reflect"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

func begin(t *testing.T, s *store.Store) *store.Log {
	t.Helper()
	l, err := store.NewLog(s, record.Opened{Steps: []record.Step{record.StepRepeat}, By: "test"}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	return l
}

// A Log numbers, stamps and folds; the live run is what is loaded later.
func TestLog(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		s := open(t, dir)
		l := begin(t, s)
		time.Sleep(1500 * time.Millisecond)
		for k, e := range []record.Event{
			{Confirmed: &record.Confirmed{Person: "p", Blade: 0.1}},
			{Touch: &record.Touch{Z: 0.5, Spot: -1}},
			{Gauging: &record.Gauging{Z: 0.2}},
		} {
			got, err := l.Append(e)
			if err != nil || got.N != int64(k+2) || got.T != 1.5 {
				t.Fatalf("event %d at %v: %v", got.N, got.T, err)
			}
		}
		if _, err := l.Append(record.Event{}); err == nil {
			t.Error("an event without a body is taken")
		}
		if _, err := l.Append(record.Event{Opened: &record.Opened{}}); err == nil {
			t.Error("a second opening is taken")
		}
		if l.Durable() != 4 {
			t.Errorf("a gauging came back before it was durable: %d of 4", l.Durable())
		}
		live := l.Run()
		if live.Touches[0].N != 3 || live.Gaugings[0].T != 1.5 {
			t.Errorf("%+v", live)
		}
		live.Touches[0].Z = 99
		if l.Run().Touches[0].Z != 0.5 {
			t.Error("Run is no copy")
		}
		if _, err := l.Append(record.Event{Ended: &record.Ended{State: record.EndDone}}); err != nil {
			t.Fatal(err)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := l.Append(record.Event{Note: &record.Note{}}); !errors.Is(err, store.ErrClosed) {
			t.Errorf("after Close: %v", err)
		}
		kept, err := s.Load(t.Context(), l.ID())
		if err != nil || !reflect.DeepEqual(kept, l.Run()) {
			t.Errorf("kept %+v\nlive %+v\n%v", kept, l.Run(), err)
		}
		_ = s.Close()
	})
}

// What must be durable at once is, and what may wait takes what waited along.
func TestLogWhatWaits(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		s := open(t, dir)
		l := begin(t, s)
		defer func() { _ = l.Close(); _ = s.Close() }()
		v := 1.0
		waits := []record.Event{
			{Touch: &record.Touch{}}, {Pressed: &record.Pressed{Action: "lower"}}, {Arrived: &record.Arrived{}}, {Note: &record.Note{Text: "n"}},
		}
		atOnce := []record.Event{
			{Confirmed: &record.Confirmed{}}, {Began: &record.Began{Step: record.StepRepeat}}, {Gauging: &record.Gauging{}},
			{Forgot: &record.Forgot{}}, {Map: &record.Map{Nodes: [][]int64{{1, 2}, {3, 4}}}}, {Settings: &record.Settings{Text: "M503"}},
			{Question: &record.Question{ID: "q"}}, {Answer: &record.Answer{ID: "q", Value: &v}},
			{Switched: &record.Switched{What: record.SwitchLimits}}, {Cut: &record.Cut{Finding: "repair"}},
			{Fault: &record.Problem{Code: "x"}}, {Ended: &record.Ended{State: record.EndFailed}},
		}
		n := int64(1)
		for _, e := range atOnce {
			for _, w := range waits {
				if _, err := l.Append(w); err != nil {
					t.Fatal(err)
				}
			}
			if l.Durable() != n {
				t.Errorf("%d durable, want %d: a touch made a write of its own", l.Durable(), n)
			}
			if _, err := l.Append(e); err != nil {
				t.Fatal(err)
			}
			n += int64(len(waits)) + 1
			if got, err := s.Events(t.Context(), l.ID(), 0); err != nil || int64(len(got)) != n {
				t.Errorf("%+v: %d on the disk, want %d (%v)", e, len(got), n, err)
			}
		}
	})
}

// A survey of touches each 4 s costs one write a touch, a quick row one each
// half a second.
func TestLogBatches(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		s := open(t, dir)
		l := begin(t, s)
		before := s.Writes()
		for range 1000 { // 100 s, ten a second
			time.Sleep(100 * time.Millisecond)
			if _, err := l.Append(record.Event{Touch: &record.Touch{}}); err != nil {
				t.Fatal(err)
			}
			if late := 1 + int64(store.FlushWithin/(100*time.Millisecond)); l.Run().Last-l.Durable() > late {
				t.Fatalf("%d touches wait", l.Run().Last-l.Durable())
			}
		}
		if n := s.Writes() - before; n > 200 || n < 100 {
			t.Errorf("%d writes in 100 s, want at most two a second", n)
		}
		if err := errors.Join(l.Close(), s.Close()); err != nil {
			t.Fatal(err)
		}
	})
}

// The disk is full in mid-run: the error comes with the next event, the touches
// stay in memory, and once there is room again everything is written.
func TestLogDiskFull(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		s := open(t, dir)
		l := begin(t, s)
		full := fmt.Sprintf("PRAGMA max_page_count = %d", s.Pages())
		if err := s.Exec(full); err != nil {
			t.Fatal(err)
		}
		var fault error
		made := 0
		for fault == nil && made < 1000 {
			time.Sleep(time.Second)
			_, fault = l.Append(record.Event{Touch: &record.Touch{Z: float64(made)}})
			made++
		}
		if fault == nil {
			t.Fatal("the disk is full, and nobody says so")
		}
		if waits := l.Run().Last - l.Durable(); waits > 3 {
			t.Errorf("the fault is said after %d touches, one a second: it was known after the first", waits)
		}
		if r := l.Run(); len(r.Touches) != made {
			t.Errorf("%d touches in memory, %d were made", len(r.Touches), made)
		}
		if _, err := l.Append(record.Event{Fault: &record.Problem{Code: "disk", Text: fault.Error()}}); err == nil {
			t.Error("the fault was written to a full disk")
		}
		durable, err := s.Events(t.Context(), l.ID(), 0)
		if err != nil || int64(len(durable)) != l.Durable() {
			t.Errorf("%d on the disk, Durable says %d (%v)", len(durable), l.Durable(), err)
		}
		if err := s.Exec("PRAGMA max_page_count = 100000"); err != nil {
			t.Fatal(err)
		}
		if _, err := l.Append(record.Event{Ended: &record.Ended{State: record.EndFailed}}); err != nil {
			t.Errorf("with room again: %v", err)
		}
		r, err := s.Load(t.Context(), l.ID())
		if err != nil || len(r.Touches) != made || r.Ended == nil || len(r.Faults) != 1 {
			t.Errorf("kept %d touches of %d, %v", len(r.Touches), made, err)
		}
		if err := errors.Join(l.Close(), s.Close()); err != nil {
			t.Fatal(err)
		}
	})
}

// Many hands at once: no number twice, nothing lost.
func TestLogTogether(t *testing.T) {
	s := open(t, t.TempDir())
	l := begin(t, s)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for k := range 40 {
				e := record.Event{Touch: &record.Touch{}}
				if k%10 == 0 {
					e = record.Event{Gauging: &record.Gauging{}}
				}
				if _, err := l.Append(e); err != nil {
					t.Error(err)
				}
				_ = l.Run()
			}
		})
	}
	wg.Wait()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if r, err := s.Load(t.Context(), l.ID()); err != nil || r.Last != 1+8*40 || len(r.Gaugings) != 32 {
		t.Errorf("%d events, %v", r.Last, err)
	}
}

// A clock that jumps back does not make times run backwards.
func TestLogClock(t *testing.T) {
	s := open(t, t.TempDir())
	at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	l, err := store.NewLog(s, record.Opened{}, func() time.Time { return at })
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	at = at.Add(10 * time.Second)
	_, err1 := l.Append(record.Event{Note: &record.Note{}})
	at = at.Add(-time.Hour)
	e, err2 := l.Append(record.Event{Note: &record.Note{}})
	if err1 != nil || err2 != nil || e.T != 10 {
		t.Errorf("T is %v (%v, %v), want 10", e.T, err1, err2)
	}
}

// Identifiers sort by time.
func TestNewID(t *testing.T) {
	last := ""
	for range 1000 {
		id, err := store.NewID()
		if err != nil || id <= last {
			t.Fatalf("%s after %s: %v", id, last, err)
		}
		last = id
	}
}
