package gcode

import (
	"fmt"
	"strings"
	"time"
)

// Real times, since a fast clock makes neither wire nor scheduler faster.
const (
	// quiet is how long the line is to be silent after trouble, in the job's
	// time, so that the late half of a doubled answer is not given to the next
	// command; leastQuiet is the real time below which that means nothing.
	quiet      = 100 * time.Millisecond
	leastQuiet = 20 * time.Millisecond
)

// drive writes what x wants written and watches its deadlines. It returns true
// when x has ended, false when leave came first; then it has to be called again.
func (s *Session) drive(x *exchange, leave <-chan struct{}) bool {
	if x.out == nothing {
		s.transmit(x, x.at)
	}
	for {
		s.mu.Lock()
		wait := time.Duration(0)
		if !x.finished && x.next == nothing {
			wait = s.watch(x, time.Now())
		}
		finished, next := x.finished, x.next
		x.next = nothing
		if next != nothing && !finished {
			s.counts.Again++
		}
		s.mu.Unlock()
		if finished {
			return true
		}
		if next != nothing {
			s.transmit(x, next)
			continue
		}
		s.timer.Reset(wait)
		select {
		case <-s.event:
		case <-s.timer.C:
		case <-leave:
			return false
		}
	}
}

// watch looks at the deadlines of x and returns how long to wait, unless x has ended
// or has something to send. s.mu is held.
func (s *Session) watch(x *exchange, now time.Time) (wait time.Duration) {
	limit := limits[x.class]
	if now.Sub(x.since) >= s.o.Clock.Patience(limit) || now.Sub(x.first) >= s.o.Clock.Patience(max(longest, 2*limit)) {
		s.die(ErrOverdue)
		return 0
	}
	silence := s.o.Clock.Patience(s.o.Silence)
	if d := silence - now.Sub(x.life); d > 0 {
		return min(d, s.o.Clock.Patience(limit)-now.Sub(x.since))
	}
	s.counts.Silences++
	s.silent(x)
	return 0
}

// silent decides what to do after a silence.
func (s *Session) silent(x *exchange) {
	if x.out == counter {
		x.fresh = nil // it answered the line that was damaged on purpose
	}
	if x.fresh != nil && x.mayBeRefusal() {
		x.unclear, x.fresh = true, nil
	} else if x.fresh != nil {
		x.held, x.fresh = x.fresh, nil
	}
	failed := x.held != nil && x.class == Touch // is not made again
	switch {
	case x.wanted || x.soft != None: // only the ok of the request was lost
		x.life = time.Now()
		s.again(x)
	case s.framed && x.silences == 0 && !failed:
		x.silences++
		x.troubled = true
		x.next, x.unsent = x.out, true
	case x.fault != nil:
		s.die(newFault(*x.fault, x.text))
	case x.held != nil:
		s.die(newFault(*x.held, x.text))
	default:
		s.die(fmt.Errorf("%w: nothing was heard for %v", ErrSilent, s.o.Silence))
	}
}

// transmit writes line n of x, or whatever else n says.
func (s *Session) transmit(x *exchange, n int) {
	s.mu.Lock()
	number, text, again := n, x.text, x.silences > 0
	x.out, x.unsent = n, false
	switch {
	case n == counter:
		number, text = x.number+1, helloWord
	case x.barrier != None:
		text = helloWord
	case n != None:
		x.at = n
		if n == x.number {
			x.sends++
		}
		text = s.sent.get(n)
	}
	s.mu.Unlock()
	err := s.write(number, text, n == counter, again)
	defer s.lock()()
	if err != nil {
		s.die(err)
		return
	}
	x.life = time.Now()
}

// deadliner is a connection whose writes can be given up.
type deadliner interface{ SetWriteDeadline(time.Time) error }

// write puts one line on the wire, framed unless number is None, its check
// spoilt on purpose if spoilt. After a silence an empty line follows, in case
// that it was the line's end that got lost.
func (s *Session) write(number int, text string, spoilt, afterSilence bool) error {
	<-s.writing
	defer func() { s.writing <- struct{}{} }()
	s.wire = appendFrame(s.wire[:0], number, text)
	if spoilt {
		s.wire = spoil(s.wire, damage)
	}
	if afterSilence {
		s.wire = append(s.wire, '\n')
	}
	return s.put(s.wire)
}

// setDeadline makes sure that a write ends before the printer would be taken for
// dead twice over. It is not set anew for each line, which would cost more than
// the line.
func (s *Session) setDeadline() {
	now, patience := time.Now(), s.o.Clock.Patience(s.o.Silence)
	if s.deadline.Sub(now) < patience {
		s.deadline = now.Add(2 * patience)
		s.writeBy(s.deadline)
	}
}

// put writes b; the token of writing is held.
func (s *Session) put(b []byte) error {
	s.setDeadline()
	if dead := s.Err(); dead != nil {
		return dead
	}
	if err := s.out(b, b); err != nil {
		return fmt.Errorf("%w: write: %v", ErrLost, err)
	}
	return nil
}

// out writes b and counts it; said is what the log has of it.
func (s *Session) out(b, said []byte) error {
	if s.o.Log != nil {
		s.o.Log(">", strings.TrimRight(string(said), "\n"))
	}
	n, err := s.conn.Write(b)
	defer s.lock()()
	s.counts.Sent++
	s.counts.BytesOut += int64(n)
	s.broken = n < len(b)
	return err
}

// settle lets the line come to rest after trouble.
func (s *Session) settle(x *exchange) {
	if !x.troubled {
		return
	}
	s.settling.Store(true)
	defer s.settling.Store(false)
	rest := max(s.o.Clock.Real(quiet), leastQuiet)
	for end := time.Now().Add(20 * rest); time.Now().Before(end); {
		s.mu.Lock()
		since := time.Since(s.heard)
		s.mu.Unlock()
		if since >= rest {
			return
		}
		s.timer.Reset(rest - since)
		select {
		case <-s.timer.C:
		case <-s.done:
			return
		}
	}
}
