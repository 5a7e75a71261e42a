package daemon

import (
	"context"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// checkHeld looks, when the printer has been identified anew, whether its map is
// the one that the journal says it kept. No word reads what a printer keeps:
// that it did not obey shows at its next restart, and then it is said. The map
// being wholly the other one of the two, it is for a person to decide.
func (d *Daemon) checkHeld() {
	l := d.link.now()
	if l.state != api.Ready || l.facts == nil || !l.facts.MapAsked {
		return
	}
	d.mu.Lock()
	a, busy := d.applied, d.busy
	d.mu.Unlock()
	if busy || a.State != store.Kept && a.State != store.Undone {
		return
	}
	now := a.Correction().In(l.facts.Map)
	text := "the printer did not keep the correction: its map is the old one again"
	switch {
	case a.State == store.Kept && now.Exact && now.Whole == record.Nowhere:
	case a.State == store.Undone && (now.Whole == record.Everywhere || 2*now.Count(record.NodeAfter) > len(a.Add)*len(a.Add[0])):
		text = "the printer did not keep the undoing: the correction is in its map again"
		a.Undo = true
	default:
		return
	}
	a.State, a.At = store.Unfinished, time.Now()
	a.Code, a.Text, a.Hint = "not-kept", text, "decide: finish it, or take it back; see whether the printer can keep its settings"
	n, err := d.store.SaveApplied(context.Background(), a)
	if err != nil {
		d.log.Error("what the printer holds cannot be kept", "err", err)
		return
	}
	a.N = n
	d.mu.Lock()
	d.applied = a
	d.mu.Unlock()
	d.log.Warn(text, "digest", a.Digest)
}
