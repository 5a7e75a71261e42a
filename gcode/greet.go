package gcode

import (
	"context"
	"fmt"
	"slices"
	"time"
)

// Times of Greet, in the job's time.
const (
	helloWait = 5 * time.Second // for an answer to one word
	helloLife = 2 * time.Minute // for the same while the printer says busy
	hushMost  = 6 * time.Second // for silence, on a line that chatters
	afterOK   = 250 * time.Millisecond
)

// setCounter, as line 0, makes 1 the number of the next line.
const setCounter = "M110 N0"

// leastAfterOK is the real time below which silence after an ok means nothing.
const leastAfterOK = 30 * time.Millisecond

// Greet waits for the banner or for silence, says the first word, and finds out
// whether the printer takes numbered lines with a check: it sends a good one, a
// damaged one and a repeated one, all with the first word, which changes
// nothing. Framing is used only if the good one was answered like the plain
// one and both others were refused and asked for again. It must be called once,
// before the first command.
func (s *Session) Greet(ctx context.Context) error {
	if err := s.greet(ctx); err != nil {
		return fmt.Errorf("gcode: greet: %w", err)
	}
	return nil
}

func (s *Session) greet(ctx context.Context) error {
	if err := s.take(ctx); err != nil {
		return err
	}
	defer s.release()
	s.listenRaw(&answer{})
	defer s.listenRaw(nil)
	heard, err := s.collect(ctx, settleTime, settleTime, hushMost)
	if err != nil {
		return err
	}
	hello, err := s.sayHello(ctx)
	if err != nil {
		return err
	}
	g := greeting{hello: hello, fresh: slices.ContainsFunc(heard, func(l Line) bool { return l.Kind == Banner })}
	for try := 0; try < 2 && !g.framed; try++ {
		if g, err = s.tryFraming(ctx, g); err != nil {
			return err
		}
	}
	defer s.lock()()
	s.greeting = g
	s.sent.reset()
	s.number = 1
	return s.err
}

// sayHello says the first word until it is answered, three times at most: the
// first may be lost while a board still starts.
func (s *Session) sayHello(ctx context.Context) (Reply, error) {
	for try := 0; try < 3; try++ {
		sent := s.o.Clock.Now()
		lines, err := s.say(ctx, None, helloWord, false)
		if err != nil {
			return Reply{}, err
		}
		if v := view(lines); v.ok.Kind == OK {
			return Reply{Lines: v.reports, OK: v.ok, Sent: sent, Answered: s.o.Clock.Now()}, nil
		}
		if i := slices.IndexFunc(lines, func(l Line) bool { return l.Halts }); i >= 0 {
			return Reply{}, s.kill(newFault(lines[i], helloWord))
		}
	}
	if c := s.Counts(); c.Damaged > 0 {
		return Reply{}, s.kill(fmt.Errorf("%w: %w; the rate of the line may be another", ErrSilent, ErrGarbled))
	}
	return Reply{}, s.kill(fmt.Errorf("%w: %s was not answered", ErrSilent, helloWord))
}

func (s *Session) kill(why error) error {
	defer s.lock()()
	s.die(why)
	return why
}

// tryFraming returns g, with what was found out if the printer takes framing.
func (s *Session) tryFraming(ctx context.Context, g greeting) (greeting, error) {
	steps := []struct {
		number int
		text   string
		spoilt bool
	}{
		{0, setCounter, false},
		{1, helloWord, false},
		{2, helloWord, true},
		{1, helloWord, false},
	}
	found := g
	for i, st := range steps {
		lines, err := s.say(ctx, st.number, st.text, st.spoilt)
		if err != nil {
			return g, err
		}
		v := view(lines)
		good := i < 2 && v.ok.Kind == OK && v.asked == None && !v.fault
		refused := i >= 2 && v.asked == 2 && !v.answers(g.hello)
		if !good && !refused || i == 1 && !v.answers(g.hello) {
			return g, nil
		}
		switch i {
		case 1:
			found.okNumbered = v.ok.Number == 1
		case 2:
			found.okAfterResend = v.ok.Kind == OK
		case 3:
			found.okAfterResend = found.okAfterResend || v.ok.Kind == OK
		}
	}
	found.framed = true
	return found, nil
}

// say writes one line and collects what comes until an ok and silence.
func (s *Session) say(ctx context.Context, number int, text string, spoilt bool) ([]Line, error) {
	s.listenRaw(&answer{})
	if err := s.write(number, text, spoilt, false); err != nil {
		return nil, s.kill(err)
	}
	return s.collect(ctx, afterOK, helloWait, helloLife)
}
