package gcode

import "strings"

// confirmFault takes a fault for what it is, since no request to send again came
// with it. After a repetition it may be the printer's refusal, spoilt on the way.
func (x *exchange) confirmFault() {
	if x.fresh == nil {
		return
	}
	if x.mayBeRefusal() {
		x.unclear = true
	} else {
		x.fault = x.fresh
	}
	x.fresh = nil
}

// mayBeRefusal reports whether the fresh fault may be what became, on the way,
// of the refusal of a repetition.
func (x *exchange) mayBeRefusal() bool {
	return x.sends > 1 && (x.fresh.Damaged || strings.Contains(fold(x.fresh.Text), "line"))
}

// doubtful reports whether an ok should not be believed yet: a needed report is
// missing, or a fault may really be a request to send again whose number was
// lost on the way.
func (s *Session) doubtful(x *exchange, l Line) bool {
	if x.checked || !s.framed && len(s.hello.words()) == 0 {
		return false
	}
	if x.fault != nil || x.unclear {
		return s.framed
	}
	return x.missing(l)
}

// makeSure has the printer say where it stands before the ok is believed. With
// framing it is sent a line that is damaged on purpose, which it refuses while
// it names the line that it wants next. Without, the first word is sent: once
// its answer, known from Greet, has come, everything before it belongs to the
// command.
func (s *Session) makeSure(x *exchange, ok Line) {
	x.checked, x.troubled, x.okHeard = true, true, ok
	if s.framed {
		s.send(x, counter)
		return
	}
	x.barrier = len(x.lines)
	s.send(x, None)
}

// pollAgain sends the damaged line once more, a few times at most; then the ok
// that was doubted is taken for what it is.
func (s *Session) pollAgain(x *exchange) {
	x.fresh = nil
	if x.strange++; x.strange < 4 {
		s.send(x, counter)
		return
	}
	s.conclude(x, Line{})
}

// passed reports whether the answer to the first word has come, and takes it
// out of the lines of x.
func (s *Session) passed(x *exchange) bool {
	if !view(x.lines[x.barrier:]).answers(s.hello) {
		return false
	}
	own := x.lines[:x.barrier:x.barrier]
	for _, l := range x.lines[x.barrier:] {
		if !s.hello.said(l) {
			own = append(own, l)
		}
	}
	x.lines = own
	return true
}

// missing reports whether the needed report is missing. The ok itself may carry
// it (temperatures).
func (x *exchange) missing(ok Line) bool {
	if x.needs == nil {
		return false
	}
	if ok.Kind == OK {
		return !x.needs(append(x.lines[:len(x.lines):len(x.lines)], ok))
	}
	return !x.needs(x.lines)
}

// again obeys a request to send from some line on.
func (s *Session) again(x *exchange) {
	n := x.asked
	if !x.wanted {
		n = x.soft
	}
	x.asked, x.wanted, x.soft, x.troubled = None, false, None, true
	switch {
	case n == x.number+1:
		if x.held != nil {
			x.fault = x.held
		}
		s.conclude(x, Line{})
	case n != None && s.sent.canReplay(n, x.number) && x.fault != nil && x.class == Touch:
		s.conclude(x, Line{}) // a touch that failed is not made again
	case n != None && s.sent.canReplay(n, x.number):
		x.answer, x.fault, x.unclear, x.checked, x.okHeard = answer{}, nil, false, false, Line{}
		s.send(x, n)
	default:
		s.outOfStep(x, n)
	}
}

// outOfStep sends the present line again, since the number that was asked for
// may have been damaged on the way; the third time it is believed.
func (s *Session) outOfStep(x *exchange, n int) {
	x.strange++
	switch {
	case x.strange < 3:
		s.send(x, x.number)
	case n == 0 || n == 1:
		s.die(ErrRestarted) // its counter started anew
	default:
		s.die(ErrLost)
	}
}
