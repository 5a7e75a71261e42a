package gcode

import "time"

// exchange is one command on its way, from its first byte to its end. Its
// fields are guarded by Session.mu.
type exchange struct {
	command
	motion bool
	number int  // None: plain
	at     int  // the line that is out now; below number while older ones are sent again
	next   int  // what is to be sent next: a line, or nothing, or counter
	out    int  // what was sent last
	unsent bool // next, or the command itself, has still to be written

	answer
	fresh  *Line // a fault that may yet turn out to be a request to send again
	held   *Line // a fault that was followed by silence
	fault  *Line // a fault that was followed by an ok
	asked  int   // the line that the printer asked for, while its ok is awaited
	wanted bool  // asked is set
	soft   int   // the line that a fault asked for, or None

	sends    int  // how often its own line was sent
	unclear  bool // a fault may have been its own, or the refusal of its repetition
	checked  bool // was made sure of: sent once more, or followed by the first word
	barrier  int  // plain: where in lines the answer to the first word may begin; None before
	okHeard  Line // the ok before that
	troubled bool // something had to be sent again
	strange  int  // requests for lines that cannot be
	silences int

	life  time.Time // last sign of life, real
	since time.Time // first sent or last busy, real
	first time.Time // first sent, real

	reply    Reply
	lost     bool
	err      error
	finished bool
}

// These stand in exchange.next beside line numbers and None (a plain line).
const (
	nothing = -2 // no line
	counter = -3 // a damaged line, to which the printer says which one it wants
)

func (s *Session) begin(c command, motion bool) (*exchange, error) {
	defer s.lock()()
	if s.err != nil {
		return nil, s.err
	}
	x := &exchange{command: c, motion: motion, number: None, at: None, next: nothing, out: nothing, unsent: true, asked: None, soft: None, barrier: None}
	if s.framed {
		s.number++
		s.sent.put(s.number, c.text)
		x.number = s.number
		x.at = s.number
	}
	x.reply.Sent = s.o.Clock.Now()
	now := time.Now()
	x.life, x.since, x.first = now, now, now
	s.cur = x
	return x, nil
}

// feed gives one line to the exchange in flight. s.mu is held.
func (s *Session) feed(x *exchange, l Line) {
	if x.unsent && (l.Kind == OK || l.Kind == Resend || l.Kind == Fault && !l.Halts) {
		// It answers something older: noise that looked like a line, or half
		// of a line that a damaged byte cut in two.
		s.counts.Unasked++
		x.troubled = true
		return
	}
	switch l.Kind {
	case Empty, Wait:
		return
	case Busy:
		x.alive(time.Now())
		x.since = x.life
	case Banner:
		s.die(ErrRestarted)
	case Fault:
		s.feedFault(x, l)
	case Resend:
		s.feedResend(x, l)
	case OK:
		s.feedOK(x, l)
	default:
		s.keep(x, l)
	}
}

func (x *exchange) alive(now time.Time) { x.life, x.silences = now, 0 }

// keep adds a line to the reply. Only what speaks of this command is a sign of
// life: reports, and temperatures while heating.
func (s *Session) keep(x *exchange, l Line) {
	if l.Kind == Report || l.Kind == Temperatures && x.class == Heat {
		x.alive(time.Now())
	}
	if x.at == x.number && !x.add(l) {
		x.answer = answer{}
		s.die(endless(x.text))
	}
}

func (s *Session) feedFault(x *exchange, l Line) {
	if l.Halts {
		s.die(newFault(l, x.text))
		return
	}
	x.alive(time.Now())
	if l.Number != None && s.framed {
		x.soft = l.Number
		return
	}
	x.fresh = &l
	s.keep(x, l)
}

func (s *Session) feedResend(x *exchange, l Line) {
	x.alive(time.Now())
	if !s.framed {
		x.fresh = &l // a plain line cannot be sent again by number
		return
	}
	x.asked, x.wanted = l.Number, true
	if l.Number == None {
		x.asked = x.soft
	}
	x.fresh, x.soft = nil, None
	if !s.okAfterResend {
		s.again(x)
	}
}

func (s *Session) feedOK(x *exchange, l Line) {
	if s.okNumbered && l.Number != None && l.Number != x.at && !x.wanted && x.soft == None {
		s.counts.Unasked++ // of an older line
		x.troubled = true
		return
	}
	x.alive(time.Now())
	if x.wanted || x.soft != None {
		s.again(x)
		return
	}
	if x.out == counter { // the answer to it was not readable
		s.pollAgain(x)
		return
	}
	x.held = nil // the repetition was done, so the first was not
	x.confirmFault()
	switch {
	case x.at != x.number: // an older line was done at last
		s.send(x, x.at+1)
	case s.doubtful(x, l):
		s.makeSure(x, l)
	case x.barrier != None && !s.passed(x):
		x.okHeard = l // the command's own, the one before was not
	case x.barrier != None:
		s.conclude(x, x.okHeard)
	default:
		s.conclude(x, l)
	}
}

// send asks the driver to write line n.
func (s *Session) send(x *exchange, n int) {
	x.next, x.unsent = n, true
	s.signal()
}

// signal wakes the driver; to wake it once too often does no harm.
func (s *Session) signal() {
	select {
	case s.event <- struct{}{}:
	default:
	}
}

// conclude ends x after ok, or after the printer's word that it has been done.
func (s *Session) conclude(x *exchange, ok Line) {
	if ok.Kind != OK {
		ok = x.okHeard
	}
	if x.fault != nil {
		if x.err = newFault(*x.fault, x.text); x.motion {
			s.die(x.err)
		} else {
			s.end(x)
		}
		return
	}
	x.lost = s.framed && x.troubled && (x.missing(ok) || x.unclear)
	if x.unclear {
		ok = Line{} // whichever it was, nobody can vouch for it
	}
	s.sent.setDone(x.number)
	x.reply.Lines, x.reply.OK, x.reply.Answered = x.lines, ok, s.o.Clock.Now()
	s.end(x)
}

func (s *Session) end(x *exchange) {
	x.finished = true
	s.cur = nil
	s.signal()
}
