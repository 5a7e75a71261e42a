package apply

import (
	"context"
	"errors"
	"strings"
	"time"

	"abbed/analysis"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/probe/record"
)

// Journal keeps what happens to the printer's map.
type Journal interface {
	SaveApplied(context.Context, store.Applied) (int64, error)
}

// Desk carries one change of the map through.
type Desk struct {
	Writer
	Journal Journal
	Now     func() time.Time
	// Stage is told each state as it is kept; nil: nobody asks.
	Stage func(store.Applied)
	// Earlier returns the correction that was kept last, as it was then; nil: there is none.
	Earlier func() (store.Applied, bool)
	// Largest is by how much undo, finish and take-back change a node at most, um.
	Largest int64
}

// Intent returns the entry of the journal with which a table's apply begins: of a table
// that a person approved, onto a map that has under, or nil, of ours in it.
func Intent(t analysis.Table, run, person string, under [][]int64) store.Applied {
	before := record.Plus(t.Befores(), under, -1)
	return store.Applied{
		State: store.Writing, Digest: t.Digest, Run: run, Parent: t.Parent, Person: person,
		Printer: t.Printer, Before: before, Add: record.Plus(t.Adds(), under, 1), Under: under, Origin: before, Lever: t.Lever, Keep: true,
	}
}

// Check returns an error with code map-changed if the printer's map is not the one that
// an apply must find.
func (d Desk) Check(ctx context.Context, a store.Applied) error {
	want := a.Change().Before
	now, err := d.readFor(ctx, func(now [][]int64) bool { return len(apart(now, want)) == 0 })
	if err != nil {
		return err
	}
	if diff := apart(now, want); len(diff) > 0 {
		return fail(nil, store.MapChanged, "measure again: a new run reads the new map",
			"the bed map is not the one that this was made for: %s", list(diff, now, want))
	}
	return nil
}

// Apply carries out an Intent, after Check: it keeps the intent, writes, reads back,
// compares and has the printer keep the map. On any difference or refusal the old map is
// written back and the error says why. If the line is lost the journal stays open.
func (d Desk) Apply(ctx context.Context, a store.Applied) (store.Applied, error) {
	a, err := d.stage(ctx, a, store.Writing, nil)
	if err != nil {
		return a, err
	}
	c := a.Change()
	a, err = d.through(ctx, a, c.Before, c.After(), store.Kept)
	if err == nil || lost(err) {
		return d.maybeOpen(ctx, a, err)
	}
	return d.putBack(ctx, a, c.Before, err)
}

// backAgain brings the old map back after a try that did not hold.
func (d Desk) backAgain(ctx context.Context, a store.Applied, to [][]int64, end store.State, why error) (store.Applied, error) {
	if err := d.restore(ctx, to, a.Keep); err != nil {
		return d.notRestored(ctx, a, errors.Join(why, err))
	}
	return d.end(ctx, a, end, nil)
}

// through takes the map from one whole state to another.
func (d Desk) through(ctx context.Context, a store.Applied, from, to [][]int64, end store.State) (store.Applied, error) {
	if err := d.write(ctx, from, to); err != nil {
		return a, err
	}
	a, err := d.stage(ctx, a, store.Verifying, nil)
	if err != nil {
		return a, err
	}
	if err := d.readBack(ctx, to); err != nil {
		return a, err
	}
	if a.Keep {
		if err := d.keep(ctx); err != nil {
			return a, err
		}
	}
	return d.end(ctx, a, end, nil)
}

// putBack writes the old map back after an apply that did not hold. If the
// printer was asked to keep the new map, it is asked to keep the old one.
func (d Desk) putBack(ctx context.Context, a store.Applied, to [][]int64, why error) (store.Applied, error) {
	a.Says, d.Turn = "", nil
	if err := d.restore(ctx, to, atKeeping(why)); err != nil {
		return d.notRestored(ctx, a, errors.Join(why, err))
	}
	a, err := d.end(ctx, a, store.PutBack, why)
	return a, errors.Join(why, err)
}

// end keeps how a change of the map ended. Once an apply on top of an earlier correction
// was put or taken back, the earlier one is in force again.
func (d Desk) end(ctx context.Context, a store.Applied, s store.State, why error) (store.Applied, error) {
	if e, ok := d.earlier(); ok && s == store.PutBack && a.Under != nil && e.Digest == a.Parent {
		e.Says = a.Says
		a, s = e, store.Kept
	}
	return d.stage(ctx, a, s, why)
}

func (d Desk) earlier() (store.Applied, bool) {
	if d.Earlier == nil {
		return store.Applied{}, false
	}
	return d.Earlier()
}

// notRestored keeps that the old map could not be brought back: unfinished if
// the line was lost or what the printer keeps is not known, so that it can be
// tried again; else failed.
func (d Desk) notRestored(ctx context.Context, a store.Applied, why error) (store.Applied, error) {
	if lost(why) || atKeeping(why) {
		return d.maybeOpen(ctx, a, why)
	}
	return d.stageFailed(ctx, a, store.Failed, why)
}

// restoreTries is how often nodes that do not take are written again: a command
// or an answer may be lost, but a printer that refuses goes on refusing.
const restoreTries = 3

// restore writes every node that is not as it should be, and reads back, several
// times if need be; then it has the map kept, if keep says so.
func (d Desk) restore(ctx context.Context, to [][]int64, keep bool) error {
	var err error
	for range restoreTries {
		if err = d.restoreOnce(ctx, to); err == nil || lost(err) {
			break
		}
	}
	if err != nil || !keep {
		return err
	}
	return d.keep(ctx)
}

func (d Desk) restoreOnce(ctx context.Context, to [][]int64) error {
	now, err := d.Read(ctx)
	if err != nil && lost(err) {
		return err
	}
	if err != nil {
		now = nil // unreadable: write all
	}
	if err := d.write(ctx, now, to); err != nil {
		return err
	}
	return d.readBack(ctx, to)
}

// stage keeps an entry of the journal. An entry that cannot be kept stops
// everything: what is not written down must not happen.
func (d Desk) stage(ctx context.Context, a store.Applied, s store.State, why error) (store.Applied, error) {
	a.State, a.At = s, d.Now()
	a.Code, a.Text, a.Hint = "", "", ""
	if why != nil {
		a.Code, a.Text, a.Hint = "failed", why.Error(), "look at the printer, then try again"
		var e *record.Problem
		if errors.As(why, &e) {
			a.Code, a.Hint = e.Code, e.Hint
		}
		if code := gcode.Code(why); code != "" {
			a.Code = code
		}
		if s == store.Unfinished {
			a.Hint = "look at the machine; when it answers again, decide: finish it, or undo it"
		}
	}
	n, err := d.Journal.SaveApplied(context.WithoutCancel(ctx), a)
	if err != nil {
		return a, fail(err, "store", strings.TrimPrefix(store.Hint(err)+"; nothing more is written to the printer before", "; "), "keep what is applied")
	}
	a.N = n
	if d.Stage != nil {
		d.Stage(a)
	}
	return a, nil
}

// stageFailed keeps the end of something that did not hold, and returns why.
func (d Desk) stageFailed(ctx context.Context, a store.Applied, s store.State, why error) (store.Applied, error) {
	a, err := d.stage(ctx, a, s, why)
	return a, errors.Join(why, err)
}

// maybeOpen keeps that something is unfinished if there is an error.
func (d Desk) maybeOpen(ctx context.Context, a store.Applied, why error) (store.Applied, error) {
	if why == nil {
		return a, nil
	}
	return d.stageFailed(ctx, a, store.Unfinished, why)
}
