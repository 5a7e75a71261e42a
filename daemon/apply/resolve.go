package apply

import (
	"context"
	"fmt"

	"abbed/daemon/store"
	"abbed/probe/record"
)

// Choice is what a person decides about something unfinished.
type Choice string

// Choices.
const (
	Finish   Choice = "finish"
	TakeBack Choice = "take-back"
)

// Undo takes the correction out of each node that has it, and has the map kept. Nodes
// that others changed, so that it cannot be told, are left and said. A difference that
// stays is an error, and the journal says that it failed.
func (d Desk) Undo(ctx context.Context, a store.Applied) (store.Applied, error) {
	a.Undo = true
	return d.Resolve(ctx, a, TakeBack)
}

// Resolve finishes or takes back what the journal's last entry began, node by node, as
// the printed map shows: a node that has what is wanted is left, what others changed at
// it stays. Where an apply was cut off, one or two nodes of which nothing can be told
// were spoilt on their way: they get what the journal says. If the map was measured
// anew, it is taken back without a word to its nodes, and cannot be finished; if the
// printer restarted with the map that an earlier correction was kept in, that one is in
// force.
func (d Desk) Resolve(ctx context.Context, a store.Applied, c Choice) (store.Applied, error) {
	change := a.Change()
	var s record.Standing
	now, err := d.readFor(ctx, func(now [][]int64) bool { s = change.In(now); return s.Exact })
	if err != nil {
		return a, err
	}
	if e, ok := d.earlier(); ok && !a.Undo && a.Under == nil && s.Scatter > 0 && holds(e, now) > s.Count(record.NodeAfter) {
		e.Says = "The printer has its earlier bed map again, with the correction in it. Nothing was written."
		return d.stage(ctx, e, store.Kept, nil)
	}
	back, end := c == TakeBack || a.Undo, store.Kept
	switch {
	case a.Undo:
		end = store.Undone
	case back:
		end = store.PutBack
	}
	old, left := change.Put(now, s, 0)
	to, wanted := old, change.Before
	if !back {
		to, _ = change.Put(now, s, 1)
		wanted = change.After()
	}
	on := !a.Undo && a.Under != nil // an earlier correction: a node that others changed may have lost that
	if !a.Undo && !on && s.Scatter == 0 && s.Nodes != nil && len(left) < 3 {
		for _, n := range left {
			old[n.J][n.I], to[n.J][n.I] = change.Before[n.J][n.I], wanted[n.J][n.I]
		}
		left = nil
	}
	if !back && (len(left) > 0 || s.Nodes == nil || s.Scatter > 0 || on && !s.Exact) {
		return a, fail(nil, store.MapChanged, "undo it: the rest of the correction is taken out, and nothing else changes",
			"the map was measured again or changed since, so that the correction cannot be finished")
	}
	if err := d.within(now, to); err != nil {
		return a, err
	}
	if a.Says = ""; back {
		d.Turn = nil
		a.Says = said(s, left, len(apart(now, to)) > 0)
	}
	if a, err = d.stage(ctx, a, store.Writing, nil); err != nil {
		return a, err
	}
	a, err = d.through(ctx, a, now, to, end)
	if err == nil || lost(err) {
		return d.maybeOpen(ctx, a, err)
	}
	if back {
		return d.backAgain(ctx, a, to, end, err)
	}
	return d.putBack(ctx, a, old, err)
}

// holds returns how many nodes of the map have the correction.
func holds(a store.Applied, now [][]int64) int { return a.Correction().In(now).Count(record.NodeAfter) }

func mostly(a store.Applied, now [][]int64) bool { return 2*holds(a, now) > len(now)*len(now[0]) }

// within refuses to change a node by more than the largest correction that is allowed.
func (d Desk) within(now, to [][]int64) error {
	for _, n := range apart(now, to) {
		if by := to[n.J][n.I] - now[n.J][n.I]; max(by, -by) > d.Largest {
			return fail(nil, "too-large", "have the printer measure its bed map again, then try again: a map that was measured again has nothing of a correction in it",
				"node %d,%d would change by %.3f mm, more than the %.3f mm that a correction may have; nothing was written", n.I, n.J, float64(by)/1000, float64(d.Largest)/1000)
		}
	}
	return nil
}

// said says what was not taken out, and why; "" if all was.
func said(s record.Standing, left []node, writes bool) string {
	switch {
	case s.Whole == record.Nowhere && !s.Exact && !writes && len(left) == 0:
		return "The bed map was measured again or changed since. The correction is not in it. Nothing was written."
	case len(left) == 0:
		return ""
	}
	text := "Some nodes of the bed map were changed since, and are left as they are:"
	for k, n := range left {
		if k == 6 {
			text += fmt.Sprintf(" and %d more,", len(left)-k)
			break
		}
		text += fmt.Sprintf(" (%d,%d),", n.I, n.J)
	}
	return text[:len(text)-1] + ". Have the printer measure its bed map again."
}

// Held returns what the journal is to say where the printer's map shows, after a restart,
// that it did not keep what was written: no word reads what a printer keeps. The map
// being wholly the other one of the two, it is for a person to decide; ok is false where
// there is nothing to say.
func (d Desk) Held(a store.Applied, now [][]int64) (next store.Applied, ok bool) {
	s := a.Correction().In(now)
	next = a
	next.State, next.At = store.Unfinished, d.Now()
	next.Code, next.Hint = "not-kept", "decide: finish it, or undo it; see whether the printer can keep its settings"
	switch {
	case a.State == store.Kept && s.Exact && s.Whole == record.Nowhere:
		next.Text = "the printer did not keep the correction: its map is the old one again"
		return next, true
	case a.State == store.Undone && mostly(a, now):
		next.Text, next.Undo = "the printer did not keep the undoing: the correction is in its map again", true
		return next, true
	case a.State == store.PutBack:
		if e, there := d.earlier(); there && mostly(e, now) {
			e.At, e.Code, e.Text, e.Hint = d.Now(), "", "", ""
			e.Says = "The printer has its earlier bed map again, with the correction in it."
			return e, true
		}
	}
	return a, false
}
