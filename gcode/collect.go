package gcode

import (
	"context"
	"fmt"
	"slices"
	"time"
)

// collect gathers lines until the line has been silent for calm after an ok, or
// for long without one (busy lines count, chatter does not), at most for most.
func (s *Session) collect(ctx context.Context, calm, long, most time.Duration) ([]Line, error) {
	began := time.Now()
	for {
		s.mu.Lock()
		lines, heard := s.raw.lines, s.heard
		s.mu.Unlock()
		said := func(kinds ...Kind) bool {
			return slices.ContainsFunc(lines, func(l Line) bool { return slices.Contains(kinds, l.Kind) })
		}
		silence := calm == long // is waited for, whatever is said
		from, rest := began, s.o.Clock.Patience(long)
		if silence || said(OK) {
			rest = max(s.o.Clock.Real(calm), leastAfterOK)
		}
		if (silence || said(OK, Busy, Report, Fault, Resend, Banner)) && heard.After(began) {
			from = heard
		}
		wait := min(rest-time.Since(from), s.o.Clock.Patience(most)-time.Since(began))
		if wait <= 0 {
			return lines, nil
		}
		s.timer.Reset(wait)
		select {
		case <-s.event:
		case <-s.timer.C:
		case <-s.done:
			return nil, s.Err()
		case <-ctx.Done():
			return nil, s.kill(fmt.Errorf("%w: %w", ErrClosed, ctx.Err()))
		}
	}
}

// heardView is what matters of some lines.
type heardView struct {
	ok      Line
	asked   int
	fault   bool
	reports []Line
}

func view(lines []Line) heardView {
	v := heardView{asked: None}
	for _, l := range lines {
		switch l.Kind {
		case OK:
			v.ok = l
		case Resend:
			v.asked = l.Number
		case Fault:
			if l.Number == None {
				v.fault = true
			} else if v.asked == None {
				v.asked = l.Number
			}
		case Busy, Wait, Banner:
		default:
			v.reports = append(v.reports, l)
		}
	}
	return v
}

// answers reports whether v says what r said: at least half of its lines. An
// empty r is answered by nothing at all.
func (v heardView) answers(r Reply) bool {
	same, words := 0, r.words()
	for _, want := range words {
		if (Reply{Lines: v.reports}).said(want) {
			same++
		}
	}
	return len(words) > 0 && 2*same >= len(words)
}

// words are the reports of r or, if there are none, its echoes and comments.
func (r Reply) words() []Line {
	var reports, others []Line
	for _, l := range r.Lines {
		switch l.Kind {
		case Report:
			reports = append(reports, l)
		case Echo, Comment:
			others = append(others, l)
		}
	}
	if reports != nil {
		return reports
	}
	return others
}

// said reports whether r holds a line of the same text.
func (r Reply) said(l Line) bool {
	return slices.ContainsFunc(r.Lines, func(k Line) bool { return k.Text == l.Text })
}

// listenRaw gives all lines from now on to a, or to whom they are for if a is nil.
func (s *Session) listenRaw(a *answer) {
	defer s.lock()()
	s.raw = a
}
