package run

import (
	"maps"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Counters counts what runs and the line did.
func (d *Runner) Counters() status.Counters {
	l := d.link.Now()
	c := status.Counters{Faults: uint64(l.Counts.Faults), Resends: uint64(l.Counts.Resends), Lines: uint64(l.Counts.Received)}
	d.mu.Lock()
	defer d.mu.Unlock()
	c.Touches, c.Gaugings, c.Busy, c.Waited = d.counted.Touches, d.counted.Gaugings, d.counted.Busy, d.counted.Waited
	if d.active != nil {
		run := d.active.log.Run()
		if !d.active.now().Over() {
			c.Touches += uint64(len(run.Touches))
			c.Gaugings += uint64(len(run.Gaugings))
		}
	}
	return c
}

// noteSteps keeps how the steps of a run ended, and what it counted.
func (d *Runner) noteSteps(run record.Run) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.counted.Touches += uint64(len(run.Touches))
	d.counted.Gaugings += uint64(len(run.Gaugings))
	for step, success := range outcomes(run) {
		d.last[step] = lastNow(success)
	}
	if run.Did(record.StepRepeat) {
		d.calendar.checked = time.Now()
	}
}

// outcomes says of each step that a run came to whether it came to its end.
func outcomes(run record.Run) map[string]bool {
	out := map[string]bool{}
	for _, s := range run.Finished {
		out[string(s)] = true
	}
	if run.Ended != nil && run.Ended.State != record.EndDone && run.Step != "" {
		out[string(run.Step)] = false
	}
	return out
}

// StepEnded keeps how a change of the bed map ended.
func (d *Runner) StepEnded(step string, success bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.last[step] = lastNow(success)
}

func lastNow(success bool) status.Last { return status.Last{At: time.Now(), Success: success} }

// Recall learns from a run of earlier days how each step last ended.
func (d *Runner) Recall(row store.RunRow, run record.Run) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for step, success := range outcomes(run) {
		if _, known := d.last[step]; !known {
			d.last[step] = status.Last{At: row.Ended, Success: success}
		}
	}
	if d.calendar.checked.IsZero() && run.Did(record.StepRepeat) {
		d.calendar.checked = row.Ended
	}
}

// Recalled reports whether it is known of each step how it last ended.
func (d *Runner) Recalled() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, s := range wholeJob {
		if _, ok := d.last[string(s)]; !ok {
			return false
		}
	}
	return !d.calendar.checked.IsZero()
}

// Steps says how each step last ended, Share the host's share of the latest run.
func (d *Runner) Steps() (of map[string]status.Last, share *float64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return maps.Clone(d.last), d.share
}

// Due says when the next quick check is due, and why it waits.
func (d *Runner) Due(now time.Time) status.Check {
	d.mu.Lock()
	defer d.mu.Unlock()
	return status.Check{Due: d.due(now), Waits: d.calendar.shown.Waits}
}

// Active is the run that goes on, or the last one that has since the start of the
// program, as it is shown; nil without one.
func (d *Runner) Active() *api.Run {
	a := d.current()
	if a == nil {
		return nil
	}
	r := a.show()
	return &r
}
