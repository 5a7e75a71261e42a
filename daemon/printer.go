package daemon

import (
	"context"
	"strings"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/status"
	"abbed/probe/record"
)

// know is what is known of the printer now.
func (d *Daemon) know(f *link.Facts) known.Known { return known.Of(d.owner(), f, d.InForce()) }

// Printer says what is known of the printer.
func (d *Daemon) Printer() api.Printer {
	l := d.link.Now()
	k := d.know(l.Facts)
	p := api.Printer{
		Name: known.NameOf(d.owner()),
		Link: l.Link, Sentence: l.Text, Port: d.owner().Port, Homed: l.Homed, Layer: d.owner().Layer,
		Owed: d.owed(), Going: d.going(), Steps: known.Steps(k, l), Identity: map[string]string{},
	}
	if n := d.notices(); n != "" {
		p.Sentence += " " + n
	}
	if p.Owed == nil {
		p.Owed = []string{}
	}
	if f := l.Facts; f != nil {
		p.ID = f.Identity.ID
		for key, v := range f.Identity.Fields {
			p.Identity[key] = v
		}
		p.Temperatures = d.temperatures(f)
	}
	k.Show(&p)
	p.Todo = status.Todo(d.glance(p))
	return p
}

// glance is as much of a snapshot as tells what a person should do.
func (d *Daemon) glance(p api.Printer) status.Snapshot {
	s := status.Snapshot{At: time.Now(), Printer: p, Applied: d.Applied()}
	if a := d.current(); a != nil {
		s.Run = &api.Run{State: a.now()}
	}
	d.mu.Lock()
	s.Check = status.Check{Due: d.due(s.At), Waits: d.calendar.shown.Waits}
	d.mu.Unlock()
	s.Expiry = d.Correction.Expiry()
	return s
}

// OpenPort is a person's word that the port may be opened.
func (d *Daemon) OpenPort(_ context.Context, o api.Open) error {
	d.audit(o.Person, "allow the opening of the port", d.owner().Port)
	d.link.Allow()
	d.changed()
	return nil
}

// publish puts a new snapshot on the board.
func (d *Daemon) publish() {
	s := status.Snapshot{At: time.Now(), Printer: d.Printer(), Applied: d.Applied(), Build: d.build, Counters: d.counters(), Kept: d.keeping()}
	if a := d.current(); a != nil {
		r := a.show()
		s.Run = &r
	}
	d.mu.Lock()
	s.Steps = map[string]status.Last{}
	for k, v := range d.last {
		s.Steps[k] = v
	}
	s.HostShare, s.ReapplyRefused = d.share, d.Refused()
	s.Check = status.Check{Due: d.due(s.At), Waits: d.calendar.shown.Waits}
	d.mu.Unlock()
	s.PortHeld = d.link.Now().Held
	s.Limits = limits(known.Criteria(d.owner()))
	d.showTold(&s)
	d.showInPrint(&s)
	d.showMoved(&s)
	d.logTodo(s.Printer.Todo)
	d.board.Publish(s)
}

// logTodo says in the log what a person should do from now on, and what no more.
func (d *Daemon) logTodo(now []api.Todo) {
	d.mu.Lock()
	defer d.mu.Unlock()
	is := map[string]bool{}
	for _, t := range now {
		if is[t.ID] = true; !d.asking[t.ID] {
			d.log.Warn(t.Says, "todo", t.ID, "hint", t.Act, "commands", strings.Join(t.Commands, "; "))
		}
	}
	for id := range d.asking {
		if !is[id] {
			d.log.Info("done, or no more to be done", "todo", id)
		}
	}
	d.asking = is
}

func limits(c record.Criteria) status.Limits {
	return status.Limits{Tolerance: c.Tolerance, Scatter: c.Scatter, Play: c.Play, Wander: c.Wander, DriftRate: c.DriftRate}
}

func (d *Daemon) counters() status.Counters {
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
func (d *Daemon) noteSteps(run record.Run) {
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

// stepEnded keeps how a change of the bed map ended.
func (d *Daemon) stepEnded(step string, success bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.last[step] = lastNow(success)
}

func lastNow(success bool) status.Last { return status.Last{At: time.Now(), Success: success} }
