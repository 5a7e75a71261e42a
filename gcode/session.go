package gcode

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Reply is what was said between a command and its ok.
type Reply struct {
	// Lines are all lines but busy, wait and empty ones, in order.
	Lines []Line
	// OK is the line that ended the command; its Kind is Empty if the ok was
	// lost and the printer confirmed by line number that the command was done.
	OK Line
	// Sent and Answered are when the command was first written and ended.
	Sent, Answered time.Time
}

// What one command may be answered. The longest answer there is, a bed map, has a
// line for each of its rows and seven characters a node: 180 x 180 nodes fit, and
// settings have some hundred lines. Beyond it a session that collects goes on until
// the computer beside the printer has no memory left.
const (
	mostLines = 4096
	mostBytes = 256 << 10
)

// answer is what a command was answered so far.
type answer struct {
	lines []Line
	bytes int
}

// add adds a line; false if the answer is then larger than any is.
func (a *answer) add(l Line) bool {
	a.bytes += len(l.Text)
	a.lines = append(a.lines, l)
	return len(a.lines) <= mostLines && a.bytes <= mostBytes
}

// Session owns a connection to a printer. Make one with NewSession.
type Session struct {
	conn io.ReadWriteCloser
	o    Options

	turn    chan struct{} // holds one token: who took it may send commands
	writing chan struct{} // holds one token: who took it may write
	timer   *time.Timer   // of the holder of turn
	event   chan struct{} // wakes the holder of turn

	wire     []byte    // of the holder of writing
	deadline time.Time // likewise: what the connection's write deadline is

	done  chan struct{} // closed when the session is dead
	tasks sync.WaitGroup
	// stopping are the stops that are on their way out: the connection is not
	// closed under them.
	stopping sync.WaitGroup

	// settling: the line comes to rest after trouble, and what comes late
	// answers repetitions.
	settling atomic.Bool

	mu     sync.Mutex
	cur    *exchange // in flight, or nil
	raw    *answer   // while Greet feels its way, who takes all lines; else nil
	err    error     // why it is dead
	gone   bool      // Close was called
	broken bool      // the last write ended in the middle
	heard  time.Time // when the last line came that is no chatter
	counts Counts
	greeting

	number int // last line number given
	sent   history
}

// greeting is what Greet found out.
type greeting struct {
	framed        bool
	okAfterResend bool // a request to send again is followed by an ok
	okNumbered    bool // an ok carries the number of its line
	hello         Reply
	fresh         bool // a banner was heard
}

// NewSession takes over conn and starts to listen. The session ends when Close
// is called; until then it also reads after it died, so that nothing piles up.
func NewSession(conn io.ReadWriteCloser, o Options) *Session {
	s := &Session{
		conn: conn, o: o.withDefaults(),
		turn: make(chan struct{}, 1), writing: make(chan struct{}, 1), event: make(chan struct{}, 1),
		done: make(chan struct{}), timer: time.NewTimer(time.Hour),
	}
	s.sent.reset()
	s.turn <- struct{}{}
	s.writing <- struct{}{}
	s.tasks.Go(s.listen)
	return s
}

// Ask sends a query and returns its reply. A query whose report was lost on the
// way is asked again, twice at most.
func (s *Session) Ask(ctx context.Context, q Query) (Reply, error) {
	for try := 1; ; try++ {
		r, lost, err := s.do(ctx, q.command, false)
		switch {
		case err != nil:
			return Reply{}, err
		case !lost:
			return r, nil
		case try >= 2 && r.OK.Kind == OK && !anyDamaged(r.Lines):
			return r, nil // the printer has nothing else to say
		case try >= 3:
			return Reply{}, fmt.Errorf("gcode: %s: asked %d times: %w", q.Text(), try, ErrReplyLost)
		}
	}
}

// Move sends a motion and returns its reply. It is never made again: if its
// report is needed and was lost on the way, the error is ErrReplyLost.
func (s *Session) Move(ctx context.Context, m Motion) (Reply, error) {
	r, lost, err := s.do(ctx, m.command, true)
	if err != nil {
		return Reply{}, err
	}
	if lost && (r.OK.Kind != OK || anyDamaged(r.Lines)) {
		return Reply{}, fmt.Errorf("gcode: %s: %w", m.Text(), ErrReplyLost)
	}
	return r, nil
}

// lock takes s.mu and returns what gives it back.
func (s *Session) lock() (unlock func()) {
	s.mu.Lock()
	return s.mu.Unlock
}

// Done is closed when the session is dead; Err then says why.
func (s *Session) Done() <-chan struct{} { return s.done }

// Err returns why the session is dead, or nil.
func (s *Session) Err() error {
	defer s.lock()()
	return s.err
}

// Counts returns what has been seen so far.
func (s *Session) Counts() Counts {
	defer s.lock()()
	return s.counts
}

// Framed reports whether Greet found that the printer takes numbered lines with
// a check, and refuses damaged and repeated ones.
func (s *Session) Framed() bool {
	defer s.lock()()
	return s.framed
}

// Fresh reports whether Greet heard a restart banner: the board has just started.
func (s *Session) Fresh() bool {
	defer s.lock()()
	return s.fresh
}

// Abandon ends the session at once: nothing is sent or waited for any more. The
// connection is still to be closed.
func (s *Session) Abandon() {
	s.mu.Lock()
	s.die(ErrClosed)
	s.mu.Unlock()
	s.writeBy(time.Now().Add(-time.Second)) // a write that is stuck is given up
}

// Close closes the connection and waits until nothing of the session runs any
// more. It may be called more than once.
func (s *Session) Close() error {
	s.mu.Lock()
	again := s.gone
	s.gone = true
	s.die(ErrClosed)
	s.mu.Unlock()
	var err error
	if !again {
		s.stopping.Wait() // a stop ends the session, and whoever sees that closes it
		err = s.conn.Close()
	}
	s.tasks.Wait()
	return err
}

// die makes the session dead; only the first reason counts. s.mu is held.
func (s *Session) die(why error) {
	if s.err != nil {
		return
	}
	s.err = why
	close(s.done)
	if x := s.cur; x != nil {
		x.err = why
		s.end(x)
	}
}

func wrap(text string, err error) error {
	if _, ok := err.(*FaultError); ok {
		return err // names the command itself
	} else if errors.Is(err, ErrEndless) {
		return fmt.Errorf("gcode: %w", err) // likewise
	}
	return fmt.Errorf("gcode: %s: %w", text, err)
}

func anyDamaged(lines []Line) bool {
	return slices.ContainsFunc(lines, func(l Line) bool { return l.Damaged })
}
