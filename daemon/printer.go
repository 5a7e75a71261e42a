package daemon

import (
	"context"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/status"
	"abbed/probe/record"
)

// know is what is known of the printer now.
func (d *Daemon) know(f *Facts) known { return know(d.owner(), f, d.inForce()) }

// Printer says what is known of the printer.
func (d *Daemon) Printer() api.Printer {
	l := d.link.now()
	k := d.know(l.facts)
	p := api.Printer{
		Link: l.state, Sentence: l.text, Port: d.owner().Port, Homed: l.homed, Layer: d.owner().Layer,
		Owed: d.owed(), Steps: steps(k, l), Identity: map[string]string{},
	}
	if n := d.notices(); n != "" {
		p.Sentence += " " + n
	}
	if p.Owed == nil {
		p.Owed = []string{}
	}
	if f := l.facts; f != nil {
		p.ID = f.Identity.ID
		for key, v := range f.Identity.Fields {
			p.Identity[key] = v
		}
		if t := f.Temps; t != nil {
			p.Temperatures = &api.Temperatures{Nozzle: t.Nozzle, NozzleTarget: t.NozzleTarget, Bed: t.Bed, BedTarget: t.BedTarget}
		}
	}
	k.show(&p)
	return p
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
	if n := len(d.verdicts.order); n > 0 {
		j := d.verdicts.of[d.verdicts.order[n-1]]
		a := Analysis(j.run, j.verdict)
		s.Analysis = &a
	}
	d.mu.Unlock()
	d.gaps(&s)
	d.board.Publish(s)
}

// gaps says the largest gap error found, and what the table in force leaves.
func (d *Daemon) gaps(s *status.Snapshot) {
	if s.Analysis == nil || s.Analysis.Largest == nil {
		return
	}
	before := max(s.Analysis.Largest.Value, -s.Analysis.Largest.Value)
	s.GapBefore = &before
	if s.Applied.State == api.Kept {
		left := s.Analysis.Largest.Hi95 - s.Analysis.Largest.Value
		s.GapAfter = &left
	}
}

func (d *Daemon) counters() status.Counters {
	l := d.link.now()
	c := status.Counters{Faults: uint64(l.counts.Faults), Resends: uint64(l.counts.Resends), Lines: uint64(l.counts.Received)}
	d.mu.Lock()
	defer d.mu.Unlock()
	c.Touches, c.Gaugings = d.counted.Touches, d.counted.Gaugings
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
	for _, s := range run.Finished {
		d.last[string(s)] = lastNow(true)
	}
	if run.Ended != nil && run.Ended.State != record.EndDone {
		d.last[string(run.Step)] = lastNow(false)
	}
}

func lastNow(success bool) status.Last { return status.Last{At: time.Now(), Success: success} }
