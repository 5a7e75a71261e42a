package store_test

import (
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

// The store works inside a bubble, and a touch is on the disk within
// FlushWithin of the bubble's time.
func TestBubble(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		s, notice, err := store.Open(t.Context(), dir)
		if err != nil || notice != (store.Notice{}) {
			t.Fatal(notice, err)
		}
		defer s.Close()
		l, err := store.NewLog(s, record.Opened{Steps: []record.Step{record.StepRepeat}}, time.Now)
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		for range 3 {
			if _, err := l.Append(record.Event{Touch: &record.Touch{Z: 1}}); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Millisecond)
		}
		if got, _ := s.Events(t.Context(), l.ID(), 0); len(got) != 1 {
			t.Errorf("%d events are written before the time, want the opening only", len(got))
		}
		time.Sleep(store.FlushWithin)
		synctest.Wait()
		if got, _ := s.Events(t.Context(), l.ID(), 0); len(got) != 4 {
			t.Errorf("%d events are durable after FlushWithin, want 4", len(got))
		}
		if l.Durable() != 4 {
			t.Errorf("Durable is %d", l.Durable())
		}
	})
}
