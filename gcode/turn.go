package gcode

import (
	"context"
	"fmt"
)

// highestNumber is the last line number before the counter starts anew
// (RS-274/NGC: up to 99999).
const highestNumber = 99999

// take waits for the turn to send commands.
func (s *Session) take(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case <-s.turn:
		return nil
	case <-s.done:
		return s.Err()
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *Session) release() { s.turn <- struct{}{} }

// do carries one command through. lost says that a needed report is missing.
func (s *Session) do(ctx context.Context, c command, motion bool) (r Reply, lost bool, err error) {
	if c.text == "" {
		return Reply{}, false, fmt.Errorf("gcode: empty command")
	}
	if err := s.take(ctx); err != nil {
		return Reply{}, false, fmt.Errorf("gcode: %s: not sent: %w", c.text, err)
	}
	x, err := s.start(c, motion)
	if err != nil {
		s.release()
		return Reply{}, false, fmt.Errorf("gcode: %s: not sent: %w", c.text, err)
	}
	if !s.drive(x, ctx.Done()) {
		s.tasks.Go(func() { s.wait(x) })
		return Reply{}, false, fmt.Errorf("gcode: %s: not waited for: %w", c.text, ctx.Err())
	}
	s.settle(x)
	s.release()
	if x.err != nil {
		return Reply{}, false, wrap(c.text, x.err)
	}
	return x.reply, x.lost, nil
}

// start puts a command in flight, after it has set the printer's counter back
// where the numbers end. That takes one quick exchange, which no context cuts
// short.
func (s *Session) start(c command, motion bool) (*exchange, error) {
	s.mu.Lock()
	full := s.framed && s.number >= highestNumber
	if full {
		s.sent.reset()
		s.number = -1
	}
	s.mu.Unlock()
	if full {
		x, err := s.begin(command{text: setCounter}, false)
		if err != nil {
			return nil, err
		}
		s.drive(x, nil)
		s.settle(x)
		if x.err != nil {
			return nil, wrap(setCounter, x.err)
		}
	}
	return s.begin(c, motion)
}

// wait carries x to its end after its caller has gone.
func (s *Session) wait(x *exchange) {
	s.drive(x, nil)
	s.settle(x)
	s.release()
}
