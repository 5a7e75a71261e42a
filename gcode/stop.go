package gcode

import (
	"errors"
	"fmt"
	"time"
)

// Real times of StopNow: how often a write that is stuck is interrupted, how
// long that is tried, and how long the stop itself may take.
const (
	stopPoke  = 10 * time.Millisecond
	stopTry   = 500 * time.Millisecond
	stopWrite = time.Second
)

// discarder is a connection that can throw away what it has not sent yet.
type discarder interface{ DiscardOutput() error }

// StopNow writes the stop word at once, past everything that is queued or
// unanswered, and ends the session with ErrStopped. A write that is stuck is
// given up first. An error means that the word may not have gone out.
//
// It is a request to the printer's program, not an emergency stop.
func (s *Session) StopNow() error {
	s.mu.Lock()
	if s.gone {
		s.mu.Unlock()
		return fmt.Errorf("gcode: stop: %w", ErrClosed)
	}
	s.stopping.Add(1)
	defer s.stopping.Done()
	s.die(ErrStopped)
	framed, number := s.framed, s.number+1
	s.mu.Unlock()

	stuck := !s.seize()
	result := make(chan error, 1)
	s.tasks.Go(func() { result <- s.putStop(framed, number, stuck) })
	late := time.NewTimer(stopWrite + stopTry)
	defer late.Stop()
	select {
	case err := <-result:
		return err
	case <-late.C:
		return errStopStuck
	}
}

var errStopStuck = errors.New("gcode: stop: the line takes no bytes; use the power switch")

// seize takes the token of writing, interrupting the write that holds it.
func (s *Session) seize() bool {
	select {
	case <-s.writing:
		return true
	default:
	}
	poke := time.NewTicker(stopPoke)
	defer poke.Stop()
	for end := time.Now().Add(stopTry); ; {
		s.writeBy(time.Now().Add(-time.Second))
		select {
		case <-s.writing:
			return true
		case <-poke.C:
			if time.Now().After(end) {
				return false
			}
		}
	}
}

// writeBy gives writes a deadline, if the connection has it.
func (s *Session) writeBy(t time.Time) {
	if d, ok := s.conn.(deadliner); ok {
		_ = d.SetWriteDeadline(t)
	}
}

// putStop writes the stop word, plain and, with framing, numbered too: some
// printers act on the plain word wherever it stands, others take numbered lines
// only. A line that was cut off is ended first. If the other writer could not be
// stopped it goes beside it.
func (s *Session) putStop(framed bool, number int, stuck bool) error {
	if !stuck {
		defer func() { s.writing <- struct{}{} }()
	}
	s.mu.Lock()
	broken := s.broken || stuck
	s.mu.Unlock()
	var b []byte
	if broken {
		b = append(b, '\n')
		if d, ok := s.conn.(discarder); ok {
			_ = d.DiscardOutput()
		}
	}
	b = appendFrame(b, None, stopWord)
	if framed {
		b = appendFrame(b, number, stopWord)
	}
	s.writeBy(time.Now().Add(stopWrite))
	if err := s.out(b, []byte(stopWord)); err != nil {
		return fmt.Errorf("gcode: stop: %w", err)
	}
	return nil
}
