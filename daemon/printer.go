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
		Owed: d.Owed(), Going: d.Going(), Steps: known.Steps(k, l), Identity: map[string]string{},
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
		p.Temperatures = d.Temperatures(f)
	}
	k.Show(&p)
	p.Todo = status.Todo(d.glance(p))
	return p
}

// glance is as much of a snapshot as tells what a person should do.
func (d *Daemon) glance(p api.Printer) status.Snapshot {
	s := status.Snapshot{At: time.Now(), Printer: p, Applied: d.Applied(), Kept: d.keeping()}
	s.Run, s.Check = d.Active(), d.Due(s.At)
	s.Expiry = d.Correction.Expiry()
	d.showTold(&s)
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
	s := d.glance(d.Printer())
	s.Build, s.Counters, s.ReapplyRefused = d.build, d.Counters(), d.Refused()
	s.Steps, s.HostShare = d.Runner.Steps()
	s.PortHeld = d.link.Now().Held
	s.Limits = limits(known.Criteria(d.owner()))
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
