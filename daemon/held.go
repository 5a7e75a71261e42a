package daemon

import (
	"context"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/store"
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
	after := sum(a.Before, a.Add)
	should, other := after, a.Before
	text := "the printer did not keep the correction: its map is the old one again"
	if a.State == store.Undone {
		should, other = a.Before, after
		text = "the printer did not keep the undoing: the correction is in its map again"
		a.Undo = true
	}
	if equalMaps(l.facts.Map, should) || !equalMaps(l.facts.Map, other) {
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

// changedSince reports whether the printer's map, as it was read when the printer
// was identified, is no longer the one that a correction was written into.
func changedSince(f *Facts, a store.Applied) bool {
	return f.MapAsked && len(f.Map) > 0 && !equalMaps(f.Map, sum(a.Before, a.Add)) && !equalMaps(f.Map, a.Before)
}

// sum returns a + b, node by node.
func sum(a, b [][]int64) [][]int64 {
	out := make([][]int64, len(a))
	for j := range a {
		out[j] = make([]int64, len(a[j]))
		for i := range a[j] {
			out[j][i] = a[j][i] + b[j][i]
		}
	}
	return out
}

func equalMaps(a, b [][]int64) bool {
	if len(a) != len(b) {
		return false
	}
	for j := range a {
		if len(a[j]) != len(b[j]) {
			return false
		}
		for i := range a[j] {
			if a[j][i] != b[j][i] {
				return false
			}
		}
	}
	return true
}
