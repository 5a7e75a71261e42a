package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"github.com/google/uuid"

	"abbed/probe/record"
)

// FlushWithin is the longest time for which a touch is in memory only.
const FlushWithin = 500 * time.Millisecond

// mostPending is how many batched events are written without waiting longer.
const mostPending = 64

// ErrClosed says that a log was closed before.
var ErrClosed = errors.New("store: the log of the run is closed")

// NewID returns an identifier for a run: a UUIDv7 (RFC 9562), which sorts by
// time.
func NewID() (string, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return "", fmt.Errorf("store: make an identifier: %w", err)
	}
	return id.String(), nil
}

// Log is the pen of one run: it numbers and stamps its events, folds them into
// the live Run, and makes them durable. Touches, presses, arrivals and notes
// are written in batches within FlushWithin, everything else before Append
// returns.
type Log struct {
	store *Store
	now   func() time.Time
	start time.Time

	mu      sync.Mutex // guards what follows
	run     record.Run
	pending []record.Event
	fault   error // of the last write that failed, until one succeeds
	closed  bool

	writing sync.Mutex // one write at a time, in order
	kick    chan struct{}
	stop    chan struct{}
	flusher sync.WaitGroup
}

// NewLog opens the log of a new run with its Opened event, which is durable
// when NewLog returns. An empty opened.ID is filled with NewID. now is the
// clock of T and of Wall; it must carry a monotonic reading, as time.Now does.
// Close ends the log.
func NewLog(s *Store, opened record.Opened, now func() time.Time) (*Log, error) {
	if opened.ID == "" {
		id, err := NewID()
		if err != nil {
			return nil, err
		}
		opened.ID = id
	}
	if opened.Version == 0 {
		opened.Version = record.Version
	}
	l := &Log{
		store: s, now: now, start: now(),
		kick: make(chan struct{}, 1), stop: make(chan struct{}),
	}
	if _, err := l.Append(record.Event{Opened: &opened}); err != nil {
		return nil, err
	}
	l.flusher.Go(l.flushing) // Close waits for it
	return l, nil
}

// ID returns the identifier of the run.
func (l *Log) ID() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.run.ID
}

// Append adds an event: number, time and wall clock are filled in, and the
// event is returned as it was stored. An event that cannot follow is an error,
// and nothing was added. With any other error the event is in Run but not on
// the disk, nor is anything that waited with it: the run must end. What waits
// stays in memory and is tried again with the next event and with Close.
func (l *Log) Append(e record.Event) (record.Event, error) {
	e, err := l.add(e)
	if err != nil {
		return e, err
	}
	if !batched(e) {
		return e, l.Flush()
	}
	l.mu.Lock()
	full, fault := len(l.pending) >= mostPending, l.fault
	l.mu.Unlock()
	if full {
		return e, l.Flush()
	}
	select {
	case l.kick <- struct{}{}:
	default:
	}
	return e, fault
}

// add stamps an event and folds it in.
func (l *Log) add(e record.Event) (record.Event, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return e, ErrClosed
	}
	e.N = l.run.Last + 1
	// To the microsecond, and never backwards.
	e.T = math.Max(l.run.T, math.Round(l.now().Sub(l.start).Seconds()*1e6)/1e6)
	e.Wall = l.now().UTC().Round(time.Microsecond)
	if e.Touch != nil {
		t := *e.Touch
		t.N, t.T, e.Touch = e.N, e.T, &t
	}
	if e.Gauging != nil {
		g := *e.Gauging
		g.N, g.T, e.Gauging = e.N, e.T, &g
	}
	if err := l.run.Add(e); err != nil {
		return e, fmt.Errorf("store: append to run %s: %w", l.run.ID, err)
	}
	l.pending = append(l.pending, e)
	return e, nil
}

// batched reports whether an event may wait for FlushWithin.
func batched(e record.Event) bool {
	return e.Touch != nil || e.Pressed != nil || e.Arrived != nil || e.Note != nil
}

// Flush makes durable what was appended so far.
func (l *Log) Flush() error {
	l.writing.Lock()
	defer l.writing.Unlock()
	l.mu.Lock()
	batch, id := l.pending, l.run.ID
	l.mu.Unlock()
	if len(batch) == 0 {
		return nil
	}
	err := l.store.Append(context.Background(), id, batch...)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fault = err
	if err == nil {
		l.pending = append([]record.Event(nil), l.pending[len(batch):]...)
	}
	return err
}

// flushing writes what waits, at most FlushWithin after the first of it came.
func (l *Log) flushing() {
	for {
		select {
		case <-l.stop:
			return
		case <-l.kick:
		}
		late := time.NewTimer(FlushWithin)
		select {
		case <-l.stop:
			late.Stop()
			return
		case <-late.C:
		}
		_ = l.Flush() // kept in fault; the next Append returns it
	}
}

// Run returns a copy of the run as it stands, with what is not yet durable.
func (l *Log) Run() record.Run {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.run.Clone()
}

// Durable returns the number of the last event that is on the disk.
func (l *Log) Durable() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.run.Last - int64(len(l.pending))
}

// Close writes what waits and ends the log. It does not end the run: that is
// an event. Closing again does nothing but try what still waits.
func (l *Log) Close() error {
	l.mu.Lock()
	again := l.closed
	l.closed = true
	l.mu.Unlock()
	if !again {
		close(l.stop)
	}
	l.flusher.Wait()
	return l.Flush()
}
