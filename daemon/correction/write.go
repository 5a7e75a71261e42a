package correction

import (
	"context"
	"errors"
	"math"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/apply"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/refuse"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/probe"
	"abbed/probe/record"
)

// change is one of the ways in which the stored map is changed.
type change struct {
	what string
	// ready looks at the map before anything is kept, and returns the entry to begin with;
	// nil: undo and resolve look for themselves.
	ready func(context.Context, apply.Desk, store.Applied) (store.Applied, error)
	do    func(apply.Desk, context.Context, store.Applied) (store.Applied, error)
}

// begun is how a change begins, for the request that asks for it.
type begun struct {
	err  chan error // takes the first word on it
	late bool       // the request is answered; guarded by the Correction's lock
}

// say says it to the request, and reports whether that still waits.
func (d *Correction) say(b *begun, err error) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	select {
	case b.err <- err:
	default:
	}
	return !b.late
}

// write takes the printer, looks whether it is free and its map is the right
// one, and carries the change through. It returns once the intent is kept, or
// with why it could not be: then nothing was written. The rest goes on in the
// background.
func (d *Correction) write(a store.Applied, by string, c change) error {
	loan, was, err := d.takeToWrite(&a, c.what)
	if err != nil {
		return err
	}
	d.o.Audit(by, c.what, a.Digest)
	b := &begun{err: make(chan error, 1)}
	d.o.Jobs.Go(func() { d.looked(a, was, c, loan, b) })
	d.o.Changed()
	late := time.NewTimer(answersWithin)
	defer late.Stop()
	select {
	case err := <-b.err:
		return err
	case <-late.C: // a printer that is busy, or a port that is opened first: what comes of it shows
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	select {
	case err := <-b.err:
		return err
	default:
		b.late = true
		return nil
	}
}

// answersWithin is how long a request waits for its change of the map to begin: it looks
// for up to two seconds whether anything else uses the machine.
const answersWithin = 2500 * time.Millisecond

// takeToWrite promises the printer to one change of its map, and says that it goes on; was
// is what stood before.
func (d *Correction) takeToWrite(a *store.Applied, what string) (loan *link.Loan, was store.Applied, err error) {
	release, err := d.o.Claim(what)
	if err != nil {
		return nil, was, err
	}
	defer release()
	if loan, err = d.o.Link.Lend(); err != nil {
		return nil, was, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	was = d.applied
	a.State = store.Writing
	d.busy, d.progress, d.applied = true, api.Progress{}, *a
	return loan, was, nil
}

// looked opens the printer, looks whether its map may be written now, and carries the
// change through. Where it may not, all is as it was, and says why.
func (d *Correction) looked(a, was store.Applied, c change, loan *link.Loan, b *begun) {
	sess, _, err := loan.Open(d.o.Ending)
	var w apply.Desk
	if err == nil {
		w = d.desk(sess)
		if err = probe.ForeignUse(d.o.Ending, sess, d.o.Words, d.o.Clock, false); err == nil && c.ready != nil {
			if a, err = c.ready(d.o.Ending, w, a); err != nil {
				err = applyRefusal(c.what, err)
			}
		}
	}
	if err != nil {
		e := refuse.Of(err)
		loan.Back(d.o.Link.Now().Homed)
		told := d.say(b, e)
		d.mu.Lock()
		d.busy, d.applied = false, was
		if was.Digest != "" && (c.what != again || !told && e.Code != "not-needed") {
			d.applied.Code, d.applied.Text, d.applied.Hint = e.Code, e.Text, e.Hint
		}
		d.mu.Unlock()
		if c.what == again && !told {
			d.refuseAgain(e)
		}
		d.o.Changed()
		return
	}
	tell := w.Stage
	w.Stage = func(a store.Applied) {
		tell(a)
		d.say(b, nil)
	}
	d.written(w, sess, a, was, c, loan, b)
}

func (d *Correction) desk(sess *gcode.Session) apply.Desk {
	return apply.Desk{
		Journal: d.o.Store, Now: time.Now, Largest: d.largest(), Earlier: d.earlier,
		Writer: apply.Writer{Line: sess, Words: d.o.Words, Turn: func() bool { return d.o.Ending.Err() != nil }, Show: func(done, of int) {
			d.mu.Lock()
			d.progress = api.Progress{Done: done, Of: of}
			d.mu.Unlock()
			d.o.Changed()
		}},
		Stage: func(a store.Applied) {
			d.mu.Lock()
			d.applied = a
			d.mu.Unlock()
			d.o.Changed()
		},
	}
}

// largest is by how much undo, finish and take-back may change a node, um: by the default
// limit at least, so that a limit that was lowered since leaves a correction its way out.
func (d *Correction) largest() int64 {
	return 1 + int64(math.Round(1000*max(record.DefaultCriteria().Largest, known.Criteria(d.o.Owner()).Largest)))
}

// written carries the change through and learns the map that then stands. If not
// even the intent could be kept, all is as it was, and whoever asked is told why.
func (d *Correction) written(w apply.Desk, sess *gcode.Session, a, was store.Applied, c change, loan *link.Loan, b *begun) {
	homed := d.o.Link.Now().Homed
	d.o.Link.Learn(func(f *link.Facts) { f.MapAsked = false }) // what was read before says nothing of the map from here on
	after, err := c.do(w, d.o.GivenUp, a)
	if err != nil {
		d.o.Log.Error(c.what+" did not come to its end", "digest", a.Digest, "state", string(after.State), "err", err)
	}
	if rows, e := w.Read(d.o.GivenUp); e == nil {
		d.o.Link.Learn(func(f *link.Facts) { f.Map, f.MapAsked = rows, false })
	} else {
		d.o.Link.Learn(func(f *link.Facts) { f.MapAsked = false })
	}
	loan.Back(homed && sess.Err() == nil)
	if err != nil && after.N == a.N {
		after = was
	}
	after = standing(after, err)
	d.o.Ended(stepOf(c.what), err == nil)
	d.mu.Lock()
	d.busy, d.applied = false, after
	d.mu.Unlock()
	d.o.Changed()
	if err != nil {
		d.say(b, applyRefusal(c.what, err))
	}
}

// standing is how a change that has ended stands: one whose end could not be kept
// is unfinished, and says why.
func standing(a store.Applied, err error) store.Applied {
	if a.State != store.Writing && a.State != store.Verifying {
		return a
	}
	a.State = store.Unfinished
	if err != nil {
		e := applyRefusal("apply", err)
		a.Code, a.Text, a.Hint = e.Code, e.Text, e.Hint
	}
	return a
}

func stepOf(what string) string {
	switch what {
	case "undo":
		return "undo"
	case again:
		return "reapply"
	}
	return "apply"
}

// applyRefusal turns an error of apply into one of the API's.
func applyRefusal(what string, err error) *api.Error {
	e := *refuse.Of(err)
	var p *record.Problem
	switch failed := errors.As(err, &p) && p.Status == 0; {
	case failed && p.Cause == nil:
		e.Status = 409
	case failed && p.Code == "store":
		e.Status = 500
	}
	e.Text = what + ": " + e.Text
	return &e
}
