package link

import (
	"context"
	"errors"
	"time"

	"abbed/daemon/api"
	"abbed/gcode"
)

// Loan is the printer, promised to one job. The job opens it and gives it back.
type Loan struct {
	link *Link
	free chan struct{}
	sess *gcode.Session
}

// brief is how long a job waits for a question that the program itself asks the printer.
const brief = 1500 * time.Millisecond

// Lend promises the printer to one job; Back must be called when it is done,
// opened or not. A job waits a moment where the program itself has a question.
func (l *Link) Lend() (*Loan, error) {
	for late := time.After(brief); ; {
		b, asking, err := l.lend(false)
		if asking == nil {
			return b, err
		}
		select {
		case <-asking:
		case <-late:
			return nil, err
		}
	}
}

// LendBriefly promises the printer for a question of the program's own, which waits for
// nobody.
func (l *Link) LendBriefly() (*Loan, error) {
	b, _, err := l.lend(true)
	return b, err
}

// lend also says when the question is over that the printer is asked now.
func (l *Link) lend(briefly bool) (b *Loan, asking chan struct{}, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.lent {
		if l.brief {
			asking = l.free
		}
		return nil, asking, api.Errorf(409, "run-active", "wait until it has ended", "the printer is busy with another job")
	}
	if e := l.unready(); e != nil {
		return nil, nil, e
	}
	b = &Loan{link: l, free: make(chan struct{})}
	l.lent, l.brief, l.free, l.halted = true, briefly, b.free, false
	if l.state == api.Ready {
		b.sess = l.sess
	}
	return b, nil, nil
}

// Open returns the session and what the printer said when it was identified. A
// resting link is opened for it first, which takes some seconds. It must be
// called once.
func (b *Loan) Open(ctx context.Context) (*gcode.Session, Facts, error) {
	l := b.link
	if b.sess == nil {
		if err := b.wake(ctx); err != nil {
			return nil, Facts{}, err
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return b.sess, *l.facts, nil
}

// wake opens a resting link.
func (b *Loan) wake(ctx context.Context) error {
	l := b.link
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	l.mu.Lock()
	if l.halted {
		l.mu.Unlock()
		return ErrStop
	}
	l.opening, l.state, l.text = cancel, api.Connecting, "Opening the port, and greeting the printer."
	l.mu.Unlock()
	l.changed()
	sess, err := l.open(ctx)
	l.mu.Lock()
	l.opening, b.sess = nil, sess
	l.mu.Unlock()
	if cause := context.Cause(ctx); err != nil && cause != nil {
		err = cause
	}
	if err != nil {
		l.down(err)
	}
	l.opened <- sess
	var said *api.Error
	if err == nil || errors.As(err, &said) || context.Cause(ctx) != nil {
		return err
	}
	return l.Unready()
}

// Back gives the printer back; homed says whether its position can still be
// believed.
func (b *Loan) Back(homed bool) {
	l := b.link
	l.mu.Lock()
	l.lent, l.free = false, nil
	l.homed = homed && b.sess != nil && b.sess.Err() == nil
	l.rest()
	l.mu.Unlock()
	close(b.free)
	l.changed()
}
