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

// way is one of the ways in which the stored map is changed.
type way func(apply.Desk, context.Context, store.Applied) (store.Applied, error)

// write takes the printer, looks whether it is free and its map is the right
// one, and carries the change through. It returns once the intent is kept, or
// with why it could not be: then nothing was written. The rest goes on in the
// background.
func (d *Correction) write(_ context.Context, a store.Applied, by, what string, do way) error {
	loan, was, err := d.takeToWrite(&a, what)
	if err != nil {
		return err
	}
	d.audit(by, what, a.Digest)
	begun := make(chan error, 1)
	d.jobs.Go(func() { d.looked(a, was, what, do, loan, begun) })
	d.changed()
	late := time.NewTimer(answersWithin)
	defer late.Stop()
	select {
	case err := <-begun:
		return err
	case <-late.C: // a printer that is busy, or a port that is opened first: what comes of it shows
		return nil
	}
}

// answersWithin is how long a request waits for its change of the map to begin: it looks
// for up to two seconds whether anything else uses the machine.
const answersWithin = 2500 * time.Millisecond

// takeToWrite promises the printer to one change of its map, and says that it goes on; was
// is what stood before.
func (d *Correction) takeToWrite(a *store.Applied, what string) (loan *link.Loan, was store.Applied, err error) {
	release, err := d.claim(what)
	if err != nil {
		return nil, was, err
	}
	defer release()
	if loan, err = d.link.Lend(); err != nil {
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
func (d *Correction) looked(a, was store.Applied, what string, do way, loan *link.Loan, begun chan error) {
	sess, _, err := loan.Open(d.base)
	var w apply.Desk
	if err == nil {
		w = d.desk(sess)
		err = d.mayWrite(d.base, w, sess, a, what)
	}
	if err != nil {
		e := refuse.Of(err)
		loan.Back(d.link.Now().Homed)
		d.mu.Lock()
		d.busy, d.applied = false, was
		if d.applied.Digest != "" {
			d.applied.Code, d.applied.Text, d.applied.Hint = e.Code, e.Text, e.Hint
		}
		d.mu.Unlock()
		d.changed()
		begun <- e
		return
	}
	tell := w.Stage
	w.Stage = func(a store.Applied) {
		tell(a)
		select {
		case begun <- nil:
		default:
		}
	}
	d.written(w, sess, a, was, what, do, loan, begun)
}

// mayWrite returns why the stored map must not be written now.
func (d *Correction) mayWrite(ctx context.Context, w apply.Desk, sess *gcode.Session, a store.Applied, what string) error {
	if err := probe.ForeignUse(ctx, sess, d.words, d.clk, false); err != nil {
		return refuse.Of(err)
	}
	if a.N > 0 {
		return nil // undo and resolve read for themselves
	}
	if err := w.Check(ctx, a); err != nil {
		return applyRefusal(what, err)
	}
	return nil
}

func (d *Correction) desk(sess *gcode.Session) apply.Desk {
	return apply.Desk{
		Journal: d.store, Now: time.Now, Largest: d.largest(), Earlier: d.earlier,
		Writer: apply.Writer{Line: sess, Words: d.words, Turn: func() bool { return d.base.Err() != nil }, Show: func(done, of int) {
			d.mu.Lock()
			d.progress = api.Progress{Done: done, Of: of}
			d.mu.Unlock()
			d.changed()
		}},
		Stage: func(a store.Applied) {
			d.mu.Lock()
			d.applied = a
			d.mu.Unlock()
			d.changed()
		},
	}
}

// largest is by how much undo, finish and take-back may change a node, um: by the default
// limit at least, so that a limit that was lowered since leaves a correction its way out.
func (d *Correction) largest() int64 {
	return 1 + int64(math.Round(1000*max(record.DefaultCriteria().Largest, known.Criteria(d.owner()).Largest)))
}

// written carries the change through and learns the map that then stands. If not
// even the intent could be kept, all is as it was, and begun is told why.
func (d *Correction) written(w apply.Desk, sess *gcode.Session, a, was store.Applied, what string, do way, loan *link.Loan, begun chan<- error) {
	homed := d.link.Now().Homed
	d.link.Learn(func(f *link.Facts) { f.MapAsked = false }) // what was read before says nothing of the map from here on
	after, err := do(w, d.writing, a)
	if err != nil {
		d.log.Error(what+" did not come to its end", "digest", a.Digest, "state", string(after.State), "err", err)
	}
	if rows, e := w.Read(d.writing); e == nil {
		d.link.Learn(func(f *link.Facts) { f.Map, f.MapAsked = rows, false })
	} else {
		d.link.Learn(func(f *link.Facts) { f.MapAsked = false })
	}
	loan.Back(homed && sess.Err() == nil)
	if err != nil && after.N == a.N {
		after = was
	}
	after = standing(after, err)
	d.ended(stepOf(what), err == nil)
	d.mu.Lock()
	d.busy, d.applied = false, after
	d.mu.Unlock()
	d.changed()
	if err != nil {
		select {
		case begun <- applyRefusal(what, err):
		default:
		}
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
	case "re-apply":
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
