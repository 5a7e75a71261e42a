package daemon

import (
	"context"
	"maps"
	"math"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/daemon/apply"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Reapply puts the correction that was signed off onto a newly measured map: many
// printers measure theirs anew at each print start, which erases it. It is refused if
// any node has the correction already, if the map would then differ from the one that
// was first measured by more than a correction may, if the correction has expired, or if
// somebody else uses the printer. The re-applied table has a digest of its own and names
// its parent. A refusal is said, written to the log and counted by its code: often
// nobody looks when a print start asks.
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
	if a.Code == store.Damaged {
		return api.Errorf(409, a.Code, a.Hint, "re-apply: %s", a.Text)
	}
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
	in := a.Correction().In(now)
	switch in.Whole {
	case record.Everywhere:
		return a, api.Errorf(409, "not-needed", "nothing to do", "re-apply: the correction is in force already")
	case record.Partly, record.Unclear:
		d.link.learn(func(f *Facts) { f.Map, f.MapAsked = now, true })
		return a, api.Errorf(409, "map-mixed", "have the printer measure its bed map anew, then re-apply",
			"re-apply: some nodes of the bed map have the correction in them, or it cannot be told; nothing was written")
	}
	total := record.Plus(record.Plus(now, a.Add, 1), a.Origin, -1)
	if err := d.bearable(total, t.Area, in.Scatter); err != nil {
		return a, err
	}
	for k, n := range t.Nodes {
		t.Nodes[k].Before, t.Nodes[k].Add = now[n.J][n.I], a.Add[n.J][n.I]
	}
	t.Parent = a.Digest
	t.Digest = t.Sum()
	if err := d.keepTable(t, a.Run); err != nil {
		return a, err
	}
	next := apply.Intent(t, a.Run, a.Person, nil) // neither expired nor proved
	next.Origin = a.Origin
	return next, nil
}

// bearable returns why the map would be too far from the one that was first measured;
// total is by how much, um. What two measurements of one bed differ by from node to
// node, three standard deviations of it, is not held against its slope.
func (d *Daemon) bearable(total [][]int64, area record.Rect, scatter float64) error {
	c := d.owner().Criteria
	largest, steepest := analysis.Extremes(total, area)
	slack := 3 * math.Sqrt2 * min(scatter, 1000*math.Sqrt2*c.Scatter) / 1000
	slack /= min(area.W()/float64(len(total[0])-1), area.H()/float64(len(total)-1))
	const hint = "measure again: the bed, or its tramming, is another than when the correction was made"
	switch {
	case largest > c.Largest+0.0005:
		return api.Errorf(409, "too-large", hint, "re-apply: the bed map would be up to %.3f mm from the one that was first measured, more than %.3f mm", largest, c.Largest)
	case steepest > c.Steepest+slack+0.0005/10:
		return api.Errorf(409, "too-steep", hint, "re-apply: between neighbouring nodes the bed map would differ from the one that was first measured by %.3f mm per 100 mm, more than %.3f mm", 100*steepest, 100*(c.Steepest+slack))
	}
	return nil
}
