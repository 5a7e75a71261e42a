package gcode

import (
	"errors"
	"fmt"
	"io"
	"time"
)

// listen is the one reader: it cuts the bytes into lines and gives each to
// whoever it is for.
func (s *Session) listen() {
	var cut cutter
	buf := make([]byte, 4096)
	for empty := 0; empty < 1000; empty++ {
		n, err := s.conn.Read(buf)
		if n > 0 {
			empty = 0
			s.mu.Lock()
			s.counts.BytesIn += int64(n)
			s.mu.Unlock()
			cut.feed(buf[:n], s.hear)
		}
		if err != nil {
			s.lose(err)
			return
		}
	}
	s.lose(io.ErrNoProgress)
}

func (s *Session) lose(err error) {
	defer s.lock()()
	if errors.Is(err, io.EOF) {
		s.die(fmt.Errorf("%w: the other end closed it", ErrLost))
		return
	}
	s.die(fmt.Errorf("%w: read: %v", ErrLost, err))
}

func (s *Session) hear(b []byte) {
	l := ParseLine(b)
	l.Heard = s.o.Clock.Now()
	if s.o.Log != nil && l.Kind != Empty {
		s.o.Log("<", l.Text)
	}
	if s.sortIn(l) && s.o.OnUnasked != nil {
		s.o.OnUnasked(l)
	}
}

// sortIn gives l to the exchange in flight, or takes it as unasked, and reports
// whether OnUnasked should have it.
func (s *Session) sortIn(l Line) (unasked bool) {
	defer s.lock()()
	if l.Kind != Temperatures && l.Kind != Wait { // chatter goes on for ever
		s.heard = time.Now()
	}
	s.count(l)
	switch {
	case s.raw != nil:
		if l.Kind != Empty && !s.raw.add(l) {
			*s.raw = answer{}
			s.die(endless(helloWord))
		}
		s.signal()
		return false
	case s.err != nil:
		return false
	case s.cur != nil:
		s.feed(s.cur, l)
		return l.Kind == Comment || l.Kind == Temperatures
	}
	s.unasked(l)
	return l.Kind != Empty && l.Kind != OK && l.Kind != Busy && l.Kind != Wait
}

func (s *Session) count(l Line) {
	if l.Kind != Empty {
		s.counts.Received++
	}
	if l.Damaged {
		s.counts.Damaged++
	}
	switch {
	case l.Kind == Resend:
		s.counts.Resends++
	case l.Kind == Busy:
		s.counts.Busy++
	case l.Kind == Fault && l.Number == None:
		s.counts.Faults++
	case l.Kind == OK && s.cur == nil && s.raw == nil:
		s.counts.Unasked++
	}
}

// unasked takes a line while nothing is in flight. A request to send again is
// nothing to act upon: the next line sorts it out by its number.
func (s *Session) unasked(l Line) {
	switch {
	case l.Kind == Banner:
		s.die(ErrRestarted)
	case l.Kind == Fault && !l.Halts && (l.Number != None || s.framed && s.settling.Load()):
		// the late refusal of a repetition
	case l.Kind == Fault:
		s.die(newFault(l, ""))
	}
}

// cutter cuts bytes into lines. Of a line that is too long it keeps the start.
type cutter struct{ line []byte }

func (c *cutter) feed(b []byte, line func([]byte)) {
	for _, x := range b {
		if x == '\n' {
			line(c.line)
			c.line = c.line[:0]
			continue
		}
		if len(c.line) <= maxLine {
			c.line = append(c.line, x)
		}
	}
}
