package gcode_test

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode"
)

// The stop goes out on a line that takes no bytes: the write that hangs is given
// up, and the line that it cut off is ended first.
func TestStopOnAWedgedLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, f := pair(t, gcode.Options{})
		hung := make(chan error, 1)
		go func() { _, err := ask(s, "M114"); hung <- err }()
		time.Sleep(time.Second) // nobody reads
		heard := make(chan string, 1)
		stopped := make(chan error, 1)
		began := time.Now()
		go func() { stopped <- s.StopNow() }()
		time.Sleep(20 * time.Millisecond)
		go func() { f.read(); heard <- f.read() }()
		if got := <-heard; got != "M112" {
			t.Errorf("heard %q", got)
		}
		if d := time.Since(began); d > 50*time.Millisecond {
			t.Errorf("heard after %v", d)
		}
		if err := <-stopped; err != nil {
			t.Error(err)
		}
		if err := <-hung; !errors.Is(err, gcode.ErrStopped) {
			t.Error(err)
		}
		s.Close()
	})
}

// stuck takes no bytes, ever, and its writes have no deadline.
type stuck struct{ end chan struct{} }

func (s stuck) Read([]byte) (int, error)  { <-s.end; return 0, io.EOF }
func (s stuck) Write([]byte) (int, error) { <-s.end; return 0, io.EOF }
func (s stuck) Close() error              { close(s.end); return nil }

func TestStopThatCannotGoOutSaysSo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := gcode.NewSession(stuck{make(chan struct{})}, gcode.Options{})
		hung := make(chan error, 1)
		go func() { _, err := ask(s, "M114"); hung <- err }()
		time.Sleep(time.Second)
		began := time.Now()
		if err := s.StopNow(); err == nil || !strings.Contains(err.Error(), "power switch") || time.Since(began) > 3*time.Second {
			t.Errorf("%v after %v", err, time.Since(began))
		}
		s.Close()
		<-hung
	})
}

// Whoever closes the session as soon as it is dead does not cut off the stop
// that ended it.
func TestCloseWaitsForTheStop(t *testing.T) {
	for range 200 {
		synctest.Test(t, func(t *testing.T) {
			s, f := pair(t, gcode.Options{})
			heard := make(chan string, 1)
			go func() { heard <- f.read() }()
			closed := make(chan error, 1)
			go func() { <-s.Done(); closed <- s.Close() }()
			if err := s.StopNow(); err != nil {
				t.Errorf("stop: %v", err)
			}
			if got := <-heard; got != "M112" {
				t.Errorf("the printer heard %q", got)
			}
			if err := <-closed; err != nil {
				t.Error(err)
			}
		})
	}
}
