package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"abbed/daemon/api"
	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/gcode/port"
)

// Link keeps the printer within reach: it opens the port, identifies the
// printer, lends the Session to one job at a time, and makes the link again
// when it is lost. A session that died is never used again.
type Link struct {
	o       LinkOptions
	changed func()

	allowed chan struct{} // closed once the person allowed the opening
	allow   sync.Once

	mu    sync.Mutex
	state api.Link
	text  string // what to say about the state
	sess  *gcode.Session
	facts *Facts
	homed bool
	lent  bool
	free  chan struct{} // closed when what is lent comes back
	spent gcode.Counts  // of the sessions that ended
}

// LinkOptions are what a Link needs.
type LinkOptions struct {
	// Name is the port's name; Open opens it.
	Name string
	Open func(context.Context) (io.ReadWriteCloser, error)
	// Ask says that a person must allow the first opening.
	Ask     bool
	Words   *dialect.Dialect
	Clock   *clock.Clock
	Session gcode.Options
	Log     *slog.Logger
}

// Times of the link, real ones.
const (
	firstPause = 500 * time.Millisecond
	lastPause  = 10 * time.Second
)

// NewLink returns a link that does nothing until Keep.
func NewLink(o LinkOptions, changed func()) *Link {
	l := &Link{o: o, changed: changed, allowed: make(chan struct{}), state: api.Connecting,
		text: "Connecting to the printer."}
	if o.Ask {
		l.state = api.Unopened
		l.text = "Opening the port may reset the printer's board, and end a print that runs from its own storage. Say when it may be opened."
	} else {
		l.Allow()
	}
	return l
}

// Allow is the person's word that the port may be opened.
func (l *Link) Allow() { l.allow.Do(func() { close(l.allowed) }) }

// Keep opens the port and makes the link again whenever it is lost, until the
// context ends.
func (l *Link) Keep(ctx context.Context) {
	select {
	case <-l.allowed:
	case <-ctx.Done():
		return
	}
	pause := firstPause
	for ctx.Err() == nil {
		sess, err := l.connect(ctx)
		if err == nil {
			pause = firstPause
			l.watch(ctx, sess)
		} else if ctx.Err() == nil {
			l.down(err)
		}
		t := time.NewTimer(pause)
		select {
		case <-t.C:
		case <-ctx.Done():
			t.Stop()
		}
		pause = min(2*pause, lastPause)
	}
}

// connect opens the port, greets and identifies the printer.
func (l *Link) connect(ctx context.Context) (*gcode.Session, error) {
	conn, err := l.o.Open(ctx)
	if err != nil {
		return nil, err
	}
	sess := gcode.NewSession(conn, l.o.Session)
	l.mu.Lock()
	l.sess = sess // a stop request reaches it from now on
	l.mu.Unlock()
	facts, err := l.greet(ctx, sess)
	if err != nil {
		l.drop(sess)
		return nil, err
	}
	l.mu.Lock()
	l.facts, l.homed, l.state = &facts, false, api.Ready
	l.text = "The printer answers."
	l.mu.Unlock()
	l.o.Log.Info("printer identified", "port", l.o.Name, "printer", facts.Identity.ID, "framed", facts.Framed)
	l.changed()
	return sess, nil
}

func (l *Link) greet(ctx context.Context, sess *gcode.Session) (Facts, error) {
	if err := sess.Greet(ctx); err != nil {
		return Facts{}, err
	}
	f, err := identify(ctx, sess, l.o.Words, l.o.Name)
	f.Framed = sess.Framed()
	return f, err
}

// watch waits until the session is dead, says so, and closes it.
func (l *Link) watch(ctx context.Context, sess *gcode.Session) {
	select {
	case <-sess.Done():
	case <-ctx.Done():
	}
	err := sess.Err()
	if ctx.Err() == nil {
		l.down(err) // said at once, also while a job still holds the session
	}
	l.mu.Lock()
	free := l.free
	l.mu.Unlock()
	if free != nil {
		<-free // the job sees that the session is dead, and gives it back
	}
	l.drop(sess)
}

// drop closes a session and keeps what it counted.
func (l *Link) drop(sess *gcode.Session) {
	_ = sess.Close() // it is dead; what closing says adds nothing
	l.mu.Lock()
	defer l.mu.Unlock()
	l.spent = add(l.spent, sess.Counts())
	l.sess = nil
}

// down says that the link is lost, and why.
func (l *Link) down(err error) {
	state, text := api.Lost, "The link to the printer is lost"
	var taken *port.TakenError
	switch {
	case errors.As(err, &taken):
		state, text = api.Taken, taken.Error()
	case errors.Is(err, gcode.ErrStopped):
		text = "A stop was requested. Look at the machine; if it does not answer, reset it or switch it off and on. It is being tried again."
	case errors.Is(err, gcode.ErrHalted):
		text = "The printer halted. Look at the machine, then reset it or switch it off and on. It is being tried again."
	case errors.Is(err, gcode.ErrRestarted):
		state, text = api.Connecting, "The printer restarted; connecting again."
	case err != nil:
		text = fmt.Sprintf("%s: %v. Check cable and power; it is being tried again.", text, err)
	}
	l.mu.Lock()
	was := l.state
	l.state, l.text, l.homed = state, text, false
	l.mu.Unlock()
	if was != state {
		l.o.Log.Warn("link", "state", string(state), "why", text)
	}
	l.changed()
}

// Lend lends the session to one job; back must be called when it is done.
func (l *Link) Lend() (sess *gcode.Session, facts Facts, back func(homed bool), err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if e := l.unready(); e != nil {
		return nil, Facts{}, nil, e
	}
	if l.lent {
		return nil, Facts{}, nil, api.Errorf(409, "run-active", "wait until it has ended", "the printer is busy with another job")
	}
	sess = l.sess
	free := make(chan struct{})
	l.lent, l.free = true, free
	return sess, *l.facts, func(homed bool) {
		l.mu.Lock()
		l.lent, l.free = false, nil
		l.homed = homed && sess.Err() == nil
		l.mu.Unlock()
		close(free)
		l.changed()
	}, nil
}

// unready returns why nothing can be lent now, or nil. l.mu is held.
func (l *Link) unready() error {
	switch {
	case l.state == api.Unopened:
		return api.Errorf(409, "unopened", "POST printer/open, or the page's button", "%s", l.text)
	case l.state == api.Connecting:
		return &api.Error{Status: 503, Code: "connecting", Text: l.text, Hint: "try again in a moment", RetryAfter: 2}
	case l.state == api.Taken:
		return &api.Error{Status: 503, Code: "taken", Text: l.text, Hint: "end that program, or let it give the port back", RetryAfter: 5}
	case l.state == api.Lost, l.sess == nil, l.facts == nil, l.sess.Err() != nil:
		return &api.Error{Status: 503, Code: "lost", Text: l.text, Hint: "check cable and power of the printer", RetryAfter: 5}
	}
	return nil
}

// Unready is unready for everybody else.
func (l *Link) Unready() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.unready()
}

// StopNow sends the stop request at once, whatever is going on.
func (l *Link) StopNow() error {
	l.mu.Lock()
	sess := l.sess
	l.homed = false
	l.mu.Unlock()
	if sess == nil {
		return api.Errorf(503, "lost", "use the printer's own switch", "stop: there is no link to the printer; the request could not be sent")
	}
	return sess.StopNow()
}

// linkState is a snapshot of a Link.
type linkState struct {
	state  api.Link
	text   string
	facts  *Facts
	homed  bool
	counts gcode.Counts
}

func (l *Link) now() linkState {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := linkState{state: l.state, text: l.text, facts: l.facts, homed: l.homed, counts: l.spent}
	if l.sess != nil {
		s.counts = add(s.counts, l.sess.Counts())
	}
	return s
}

// learn replaces what is known of the printer, after a job changed it.
func (l *Link) learn(change func(*Facts)) {
	l.mu.Lock()
	if l.facts != nil {
		f := *l.facts
		change(&f)
		l.facts = &f
	}
	l.mu.Unlock()
	l.changed()
}

func add(a, b gcode.Counts) gcode.Counts {
	return gcode.Counts{
		Sent: a.Sent + b.Sent, Again: a.Again + b.Again, Received: a.Received + b.Received,
		Resends: a.Resends + b.Resends, Faults: a.Faults + b.Faults, Busy: a.Busy + b.Busy,
		Unasked: a.Unasked + b.Unasked, Silences: a.Silences + b.Silences, Damaged: a.Damaged + b.Damaged,
		BytesOut: a.BytesOut + b.BytesOut, BytesIn: a.BytesIn + b.BytesIn,
	}
}
