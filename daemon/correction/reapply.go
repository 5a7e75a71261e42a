package correction

import (
	"context"
	"maps"

	"abbed/daemon/api"
	"abbed/daemon/apply"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/refuse"
	"abbed/daemon/store"
)

// Reapply puts the correction that was signed off onto a newly measured map: many
// printers measure theirs anew at each print start, which erases it. It is refused if
// any node has the correction already, if the map would then differ from the one that
// was first measured by more than a correction may, if the correction has expired, or if
// somebody else uses the printer. The re-applied table has a digest of its own and names
// its parent. A refusal is said, written to the log and counted by its code: often
// nobody looks when a print start asks.
func (d *Correction) Reapply(ctx context.Context, by string) error {
	err := d.reapply(ctx, by)
	if err == nil {
		return nil
	}
	d.o.Log.Warn("the correction was not put back on", "who", by, "err", err)
	d.refuseAgain(refuse.Of(err))
	d.o.Changed()
	return err
}

// again is what a re-apply is called where it is refused.
const again = "re-apply"

// refuseAgain counts a refusal by its code.
func (d *Correction) refuseAgain(e *api.Error) {
	d.o.Ended("reapply", false)
	d.mu.Lock()
	defer d.mu.Unlock()
	refused := maps.Clone(d.refused) // a snapshot may hold the old one
	if refused == nil {
		refused = map[string]uint64{}
	}
	refused[e.Code]++
	d.refused = refused
}

func (d *Correction) reapply(ctx context.Context, by string) error {
	a := d.Now()
	if a.Code == store.Damaged {
		return api.Errorf(409, a.Code, a.Hint, "re-apply: %s", a.Text)
	}
	if d.foreign(a) {
		return api.Errorf(409, "printer-changed", "Connect its own printer. Undo closes the correction.", "re-apply: %s", printerOther)
	}
	if d.Unfinished() {
		return d.resolve(apply.Finish, by, "resolve: finish")
	}
	if a.State != store.Kept {
		return api.Errorf(409, "not-applied", "apply a table first", "re-apply: no correction is approved and in force")
	}
	if why := d.worn(a); why != "" {
		return api.Errorf(409, "expired", "measure again", "re-apply: %s", why)
	}
	t, _, err := d.Offered(ctx, a.Digest)
	if err != nil {
		return err
	}
	return d.write(a, by, change{again, func(ctx context.Context, w apply.Desk, a store.Applied) (store.Applied, error) {
		now, err := w.Read(ctx)
		if err != nil {
			return a, err
		}
		t, next, err := apply.Again(a, t, now, known.Criteria(d.o.Owner()))
		if err != nil {
			d.o.Link.Learn(func(f *link.Facts) { f.Map, f.MapAsked = now, true })
			return a, err
		}
		if err := d.keepTable(t, a.Run); err != nil {
			return a, err
		}
		return next, w.Check(ctx, next)
	}, apply.Desk.Apply})
}
