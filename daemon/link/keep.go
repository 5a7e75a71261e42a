package link

import (
	"context"
	"time"

	"abbed/daemon/api"
	"abbed/gcode"
)

// Times of the link, real ones.
const (
	firstPause = 500 * time.Millisecond
	lastPause  = 10 * time.Second
	// Where commands of the owner are run for each opening, another program is
	// sent away each time: less often.
	firstErrand = 30 * time.Second
	lastErrand  = 5 * time.Minute
)

// Keep opens the port and makes the link again whenever it is lost, until the
// context ends.
func (l *Link) Keep(ctx context.Context) {
	select {
	case <-l.allowed:
	case <-ctx.Done():
		return
	}
	first, last := firstPause, lastPause
	if l.o.Before.Text != "" || l.o.After.Text != "" {
		first, last = firstErrand, lastErrand
	}
	pause := first
	for ctx.Err() == nil {
		sess, err := l.open(ctx)
		if err == nil {
			pause = first
			l.mind(ctx, sess)
		} else if ctx.Err() == nil {
			l.down(err)
		}
		t := time.NewTimer(pause)
		select {
		case <-t.C:
		case <-ctx.Done():
			t.Stop()
		}
		pause = min(2*pause, last)
	}
}

// open goes through the door: it has the port let go, opens it, greets and
// identifies the printer. Whoever opened must giveBack.
func (l *Link) open(ctx context.Context) (*gcode.Session, error) {
	select {
	case <-l.door:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	sess, err := l.connect(ctx)
	if err != nil {
		l.giveBack(ctx, sess)
		return nil, err
	}
	return sess, nil
}

// connect is open behind the door; the session may be there beside an error.
func (l *Link) connect(ctx context.Context) (*gcode.Session, error) {
	if err := l.o.Before.Run(ctx); err != nil {
		return nil, err
	}
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
		return sess, err
	}
	l.mu.Lock()
	facts.Fresh = facts.Fresh || l.rebooted
	l.rebooted = false
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
	f, err := Identify(ctx, sess, l.o.Words, l.o.Name)
	if err == nil {
		err = f.readMapAgain(ctx, sess, l.o.Words)
	}
	f.Framed, f.Fresh = sess.Framed(), sess.Fresh()
	return f, err
}

// mind watches over a session until it is dead or the context ends. With Rest
// it gives the port back whenever no job has it, and watches over what the next
// one opens.
func (l *Link) mind(ctx context.Context, sess *gcode.Session) {
	for sess != nil {
		dead := l.untilOver(ctx, sess)
		l.giveBack(ctx, sess)
		if dead {
			return
		}
		l.changed()
		select {
		case sess = <-l.opened:
		case <-ctx.Done():
			return
		}
	}
}

// untilOver waits until the session is dead (true), or with Rest until no job
// has it (false).
func (l *Link) untilOver(ctx context.Context, sess *gcode.Session) (dead bool) {
	free := l.restIfFree(sess)
	if free != nil || !l.o.Rest {
		var resting <-chan struct{}
		if l.o.Rest {
			resting = free
		}
		select {
		case <-resting:
		case <-sess.Done():
		case <-ctx.Done():
		}
	}
	if l.rests(sess) {
		return false // another job may be waiting at the door already
	}
	if err := sess.Err(); err != nil && ctx.Err() == nil {
		l.down(err) // said at once, also while a job still holds the session
	}
	l.mu.Lock()
	free = l.free
	l.mu.Unlock()
	if free != nil {
		<-free // the job sees that the session is dead, and gives it back
	}
	return true
}

// restIfFree lets the link rest if it may and no job has the session; else it
// returns what is closed when the job gives it back. A session that was given
// back already is free, whoever waits at the door meanwhile.
func (l *Link) restIfFree(sess *gcode.Session) (free <-chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.lent && !(l.o.Rest && l.sess != sess) {
		return l.free
	}
	l.rest()
	return nil
}

// rest makes the link rest, if it may. l.mu is held.
func (l *Link) rest() {
	if !l.o.Rest || l.sess == nil || l.sess.Err() != nil {
		return
	}
	l.state, l.homed, l.sess = api.Resting, false, nil
	l.text = "The printer was identified, and the port is given back until a run is confirmed."
}

// rests reports whether the port of the session is to be given back.
func (l *Link) rests(sess *gcode.Session) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.o.Rest && l.sess != sess
}

// giveBack closes a session (or none), keeps what it counted, has the owner's
// command run, and frees the door.
func (l *Link) giveBack(ctx context.Context, sess *gcode.Session) {
	if sess != nil {
		_ = sess.Close() // what closing says adds nothing
		l.mu.Lock()
		l.spent = add(l.spent, sess.Counts())
		if l.sess == sess {
			l.sess = nil
		}
		l.mu.Unlock()
	}
	if err := l.o.After.Run(context.WithoutCancel(ctx)); err != nil {
		l.o.Log.Error("the port is free, but the command after it failed", "err", err)
	}
	l.door <- struct{}{}
}
