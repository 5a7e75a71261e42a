package daemon

import (
	"context"
	"maps"

	"abbed/daemon/api"
	"abbed/daemon/apply"
	"abbed/daemon/store"
)

// Reapply puts the correction that was signed off onto a newly measured map:
// many printers measure theirs anew at each print start, which erases it. It is
// refused unless the new map differs from the old one within the limits of a
// correction, the correction has not expired, and nobody else uses the printer.
// The re-applied table has a digest of its own and names its parent. A refusal is
// said, written to the log and counted by its code: often nobody looks when a
// print start asks.
func (d *Daemon) Reapply(ctx context.Context, by string) error {
	err := d.reapply(ctx, by)
	if err == nil {
		return nil
	}
	code := refusal(err).Code
	d.mu.Lock()
	d.last["reapply"] = lastNow(false)
	refused := maps.Clone(d.reapplyRefused) // a snapshot may hold the old one
	if refused == nil {
		refused = map[string]uint64{}
	}
	refused[code]++
	d.reapplyRefused = refused
	d.mu.Unlock()
	d.log.Warn("the correction was not put back on", "who", by, "code", code, "err", err)
	d.changed()
	return err
}

func (d *Daemon) reapply(ctx context.Context, by string) error {
	d.mu.Lock()
	a := d.applied
	d.mu.Unlock()
	if a.State != store.Kept {
		return api.Errorf(409, "not-applied", "apply a table first", "re-apply: no correction is signed off and in force")
	}
	if why := d.worn(a); why != "" {
		return api.Errorf(409, "expired", "measure again", "re-apply: %s", why)
	}
	now, err := d.readMap(ctx)
	if err != nil {
		return err
	}
	next, err := d.onto(ctx, a, now)
	if err != nil {
		return err
	}
	return d.write(ctx, next, by, "re-apply", apply.Desk.Apply)
}

// readMap reads the printer's stored map now.
func (d *Daemon) readMap(ctx context.Context) ([][]int64, error) {
	loan, err := d.link.Lend()
	if err != nil {
		return nil, err
	}
	homed := d.link.now().homed
	defer func() { loan.Back(homed) }()
	sess, _, err := loan.Open(ctx)
	if err != nil {
		return nil, refusal(err)
	}
	rows, err := d.desk(sess).Read(ctx)
	if err != nil {
		return nil, applyRefusal("re-apply", err)
	}
	return rows, nil
}

// onto returns the intent of the same correction on the map now.
func (d *Daemon) onto(ctx context.Context, a store.Applied, now [][]int64) (store.Applied, error) {
	t, _, err := d.table(ctx, a.Digest)
	if err != nil {
		return a, err
	}
	if len(now) != t.Rows || len(now[0]) != t.Columns {
		return a, api.Errorf(409, "map-changed", "measure again", "re-apply: the stored map has another size than the correction")
	}
	same := true
	limit := int64(1000 * d.owner().Criteria.Largest)
	for k, n := range t.Nodes {
		v := now[n.J][n.I]
		same = same && v == n.After()
		if diff := v - n.Before; diff > limit || diff < -limit {
			return a, api.Errorf(409, "map-changed", "measure again: the bed, or its tramming, is another",
				"re-apply: node %d,%d of the new map is %.3f mm from the old one, more than %.3f mm", n.I, n.J, float64(diff)/1000, float64(limit)/1000)
		}
		t.Nodes[k].Before = v
	}
	if same {
		return a, api.Errorf(409, "not-needed", "nothing to do", "re-apply: the correction is in force already")
	}
	t.Parent = a.Digest
	t.Digest = t.Sum()
	if err := d.keepTable(t, a.Run); err != nil {
		return a, err
	}
	return apply.Intent(t, a.Run, a.Person), nil // neither expired nor proved
}
