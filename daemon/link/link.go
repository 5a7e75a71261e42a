package link

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
	"sync"

	"abbed/daemon/api"
	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/gcode/port"
)

// Link keeps the printer within reach: it opens the port, identifies the
// printer, lends the Session to one job at a time, and makes the link again
// when it is lost. A session that died is never used again.
//
// With Rest the port is given back whenever no job has it: the link is then
// resting, and a Loan opens, greets and identifies anew.
type Link struct {
	o       Options
	changed func()

	allowed chan struct{} // closed once the person allowed the opening
	allow   sync.Once
	door    chan struct{}       // holds one token: who took it opened the port, and closes it
	opened  chan *gcode.Session // what a loan opened; nil if it could not

	mu       sync.Mutex
	state    api.Link
	text     string // what to say about the state
	hint     string // what to do about a link that is lost
	sess     *gcode.Session
	facts    *Facts
	homed    bool
	rebooted bool // the last session ended because the board restarted
	lent     bool
	brief    bool                    // what is lent asks a question of the program's own
	halted   bool                    // a stop was asked for since it was lent
	free     chan struct{}           // closed when what is lent comes back
	opening  context.CancelCauseFunc // ends the opening for a loan
	spent    gcode.Counts            // of the sessions that ended
}

// Options are what a Link needs.
type Options struct {
	// Name is the port's name; Open opens it.
	Name string
	Open func(context.Context) (io.ReadWriteCloser, error)
	// Ask says that a person must allow the first opening.
	Ask bool
	// Rest says that the port is given back between jobs.
	Rest bool
	// Before is run before each opening, After after each closing.
	Before, After Errand
	Words         *dialect.Dialect
	Clock         *clock.Clock
	Session       gcode.Options
	Log           *slog.Logger
}

// New returns a link that does nothing until Keep.
func New(o Options, changed func()) *Link {
	l := &Link{o: o, changed: changed, allowed: make(chan struct{}), state: api.Connecting, hint: checkCable,
		door: make(chan struct{}, 1), opened: make(chan *gcode.Session, 1), text: "Connecting to the printer."}
	l.door <- struct{}{}
	if o.Ask {
		l.state = api.Unopened
		l.text = "Opening the port may reset the printer's board, and end a print from storage. Say when it may be opened."
	} else {
		l.Allow()
	}
	return l
}

// checkCable is what to do about a link that is lost, unless its end says better.
const checkCable = "check cable and power of the printer"

// Allow is the person's word that the port may be opened.
func (l *Link) Allow() { l.allow.Do(func() { close(l.allowed) }) }

// because says why the link was lost, behind words that say that it was.
func because(err error) string {
	lost := gcode.ErrLost.Error()
	why := strings.ReplaceAll(err.Error(), lost+": ", "")
	if why = strings.TrimSuffix(strings.TrimSuffix(why, lost), ": "); why == "" {
		return ""
	}
	return ": " + why
}

// down says that the link is lost, and why.
func (l *Link) down(err error) {
	state, text, hint := api.Lost, "The link to the printer is lost", checkCable
	var taken *port.TakenError
	var errand *api.Error
	switch {
	case errors.As(err, &taken):
		state, text = api.Taken, taken.Error()+". "+taken.Hint
	case errors.As(err, &errand):
		state, text = api.Taken, errand.Text+". "+errand.Hint
	case errors.Is(err, gcode.ErrStopped), errors.Is(err, ErrStop):
		text = "A stop was requested. Look at the machine. If it does not answer, reset it or switch it off and on. It is being tried again."
	case errors.Is(err, gcode.ErrHalted):
		text = "The printer halted. Look at the machine, then reset it or switch it off and on. It is being tried again."
	case errors.Is(err, context.Canceled):
		text = "The opening of the port was given up. It is being tried again."
	case errors.Is(err, gcode.ErrRestarted):
		state, text = api.Connecting, "The printer restarted. Connecting again."
	case errors.Is(err, gcode.ErrGarbled):
		text += because(err) + ". Run abbed doctor, which finds the rate; it is being tried again."
	case errors.Is(err, gcode.ErrEndless):
		hint = "set another command in words.templates, or switch the printer's own reports off"
		text = "The link to the printer was given up" + because(err) + ". Set another command in words.templates, or switch the printer's own reports off. It is being tried again."
	case err != nil:
		text += because(err) + ". Check cable and power; it is being tried again."
	}
	l.mu.Lock()
	was := l.state
	l.state, l.text, l.hint, l.homed = state, text, hint, false
	l.rebooted = l.rebooted || errors.Is(err, gcode.ErrRestarted)
	l.mu.Unlock()
	if was != state {
		l.o.Log.Warn("link", "state", string(state), "why", text)
	}
	l.changed()
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
	case l.state == api.Resting:
		return nil
	case l.state == api.Lost, l.sess == nil, l.facts == nil, l.sess.Err() != nil:
		return &api.Error{Status: 503, Code: "lost", Text: l.text, Hint: l.hint, RetryAfter: 5}
	}
	return nil
}

// Unready is unready for everybody else.
func (l *Link) Unready() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.unready()
}

// StopNow sends the stop request at once, whatever is going on. The opening for
// a job is ended. ErrNothing says that this program has nothing open that could
// move anything.
func (l *Link) StopNow() error {
	l.mu.Lock()
	sess, opening, state := l.sess, l.opening, l.state
	l.homed, l.halted = false, l.lent
	l.mu.Unlock()
	if opening != nil {
		opening(ErrStop)
	}
	if sess == nil && (opening != nil || state != api.Lost) {
		return ErrNothing
	}
	if sess == nil {
		return unsent("there is no link to the printer")
	}
	if err := sess.StopNow(); err != nil {
		return unsent(err.Error())
	}
	return nil
}

// Cut ends the line, whatever is going on: nothing can be sent over it any more.
func (l *Link) Cut() {
	l.mu.Lock()
	sess, opening := l.sess, l.opening
	l.homed = false
	l.mu.Unlock()
	if opening != nil {
		opening(ErrClosing)
	}
	if sess != nil {
		sess.Abandon()
	}
}

// ErrNothing says that this program has nothing open that could move anything.
var ErrNothing = unsent("the port is not open")

func unsent(why string) error {
	return api.Errorf(503, "lost", "use the printer's power switch", "stop: the request could not be sent: %s", why)
}

// State is a snapshot of a Link.
type State struct {
	Link   api.Link
	Text   string
	Facts  *Facts
	Homed  bool
	Held   bool // this program has the port open
	Counts gcode.Counts
}

// Why a job, or the opening for it, was ended.
var (
	ErrStop    = errors.New("a stop was requested")
	ErrClosing = errors.New("the program is ending")
)

func (l *Link) Now() State {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := State{Link: l.state, Text: l.text, Facts: l.facts, Homed: l.homed, Counts: l.spent}
	if l.sess != nil {
		s.Held = l.sess.Err() == nil
		s.Counts = add(s.Counts, l.sess.Counts())
	}
	return s
}

// Learn replaces what is known of the printer, after a job changed it.
func (l *Link) Learn(change func(*Facts)) {
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
