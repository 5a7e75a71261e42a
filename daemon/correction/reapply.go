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
	code := refuse.Of(err).Code
	d.ended("reapply", false)
	d.mu.Lock()
	refused := maps.Clone(d.refused) // a snapshot may hold the old one
	if refused == nil {
		refused = map[string]uint64{}
	}
	refused[code]++
	d.refused = refused
	d.mu.Unlock()
	d.log.Warn("the correction was not put back on", "who", by, "code", code, "err", err)
	d.changed()
	return err
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
		return d.resolve(ctx, apply.Finish, by, "resolve: finish")
	}
	if a.State != store.Kept {
		return api.Errorf(409, "not-applied", "apply a table first", "re-apply: no correction is approved and in force")
	}
	if why := d.worn(a); why != "" {
		return api.Errorf(409, "expired", "measure again", "re-apply: %s", why)
	}
	now, err := d.readMap(ctx)
	if err != nil {
		return err
	}
	t, _, err := d.Offered(ctx, a.Digest)
	if err != nil {
		return err
	}
	t, next, err := apply.Again(a, t, now, known.Criteria(d.owner()))
	if err != nil {
		d.link.Learn(func(f *link.Facts) { f.Map, f.MapAsked = now, true })
		return applyRefusal("re-apply", err)
	}
	if err := d.keepTable(t, a.Run); err != nil {
		return err
	}
	return d.write(ctx, next, by, "re-apply", apply.Desk.Apply)
}

// readMap reads the printer's stored map now.
func (d *Correction) readMap(ctx context.Context) ([][]int64, error) {
	loan, err := d.link.Lend()
	if err != nil {
		return nil, err
	}
	homed := d.link.Now().Homed
	defer func() { loan.Back(homed) }()
	sess, _, err := loan.Open(ctx)
	if err != nil {
		return nil, refuse.Of(err)
	}
	rows, err := d.desk(sess).Read(ctx)
	if err != nil {
		return nil, applyRefusal("re-apply", err)
	}
	return rows, nil
}
