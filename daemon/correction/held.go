package correction

import (
	"abbed/daemon/api"
)

// CheckHeld looks, when the printer has been identified anew, whether its map is the one
// that the journal says it kept.
func (d *Correction) CheckHeld() {
	l := d.o.Link.Now()
	if l.Link != api.Ready || l.Facts == nil || !l.Facts.MapAsked {
		return
	}
	d.mu.Lock()
	a, busy := d.applied, d.busy
	d.mu.Unlock()
	if busy || a.Before == nil || d.foreign(a) {
		return
	}
	if next, ok := d.desk(nil).Held(a, l.Facts.Map); ok {
		d.o.Log.Warn("the printer's map is not the one that was kept", "digest", next.Digest, "state", string(next.State), "why", next.Text)
		d.saveApplied(next)
	}
}
