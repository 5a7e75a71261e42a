package daemon

import (
	"context"

	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// lookBack is how many runs before the latest gauged one are looked through for
// one that it can be compared with: each has to be analysis.Judged once.
const lookBack = 10

// movement is how the tilt of the head changed up to the gauged run, against the run
// before it and against that of the correction n in force.
type movement struct {
	gauged, made string
	of           map[string]status.Moved
}

// showMoved puts on a snapshot whether the head tilts otherwise than in the run
// before, and than in the run from which the correction in force was made.
func (d *Daemon) showMoved(s *status.Snapshot) {
	a := d.Correction.Now()
	d.mu.Lock()
	t, known := d.told.gauged, d.movement
	d.mu.Unlock()
	if t == nil {
		return
	}
	made := ""
	if a.State == store.Kept {
		made = a.Run
	}
	if known.gauged != t.Run.ID || known.made != made {
		known = movement{gauged: t.Run.ID, made: made, of: map[string]status.Moved{}}
		now := t.Judged
		if m, ok := d.movedSince(made, now); ok {
			known.of[status.SinceCorrection] = m
		}
		if m, ok := d.movedSince(d.comparable(t.Run), now); ok {
			known.of[status.SinceRun] = m
		}
		d.mu.Lock()
		d.movement = known
		d.mu.Unlock()
	}
	s.Moved = known.of
}

// movedSince compares a gauged run with one before it; false where there is none, or
// it is the same, or neither angle can be compared.
func (d *Daemon) movedSince(id string, now analysis.Judged) (status.Moved, bool) {
	if id == "" || id == now.Run.ID {
		return status.Moved{}, false
	}
	j, err := d.Judged(id)
	if err != nil {
		return status.Moved{}, false
	}
	c, why := compare.Compare(j, now)
	if why != nil {
		return status.Moved{}, false
	}
	m := status.Moved{Twist: c.Of("twist"), Pitch: c.Of("pitch")}
	return m, m.Twist != nil || m.Pitch != nil
}

// comparable returns the latest run before the given one, of the same printer, that
// tells how the head tilts; "" if there is none among the last few.
func (d *Daemon) comparable(run record.Run) string {
	rows, err := d.store.Runs(context.Background())
	if err != nil {
		return ""
	}
	for i := range rows {
		if rows[i].ID != run.ID {
			continue
		}
		for _, row := range rows[i+1 : min(len(rows), i+1+lookBack)] {
			j, err := d.Judged(row.ID)
			if err != nil || j.Run.Setup.Printer.ID != run.Setup.Printer.ID || row.For != "" || row.State != record.EndDone {
				continue
			}
			if r := j.Verdict.Rates(j.Run.Setup.Lever); r.Twist != nil || r.Pitch != nil {
				return row.ID
			}
		}
	}
	return ""
}
