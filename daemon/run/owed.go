package run

import (
	"context"
	"slices"

	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/gcode"
	"abbed/probe"
	"abbed/probe/record"
)

// Owed returns what an earlier run switched off and could not put back.
func (d *Runner) Owed() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.owing)
}

func (d *Runner) learnOwed(s []record.Switch) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.owing = nil
	for _, w := range s {
		d.owing = append(d.owing, string(w))
	}
}

// CheckOwed strikes out what the printer itself says is as it was, and puts the idle
// switch-off back, which moves nothing, as soon as the printer answers.
func (d *Runner) CheckOwed() {
	l := d.link.Now()
	owed := d.Owed()
	if l.Link != api.Ready || l.Facts == nil || len(owed) == 0 || d.Running() {
		return
	}
	f := l.Facts
	var still []record.Switch
	for _, w := range owed {
		w := record.Switch(w)
		on := w == record.SwitchLevelling && f.Levelling != nil && *f.Levelling ||
			w == record.SwitchUnlevelled && f.Levelling != nil && !*f.Levelling ||
			w == record.SwitchLimits && f.LimitsOn != nil && *f.LimitsOn ||
			w == record.SwitchHeaters && f.Temps != nil && f.Temps.Targets && f.Temps.NozzleTarget == 0 && f.Temps.BedTarget == 0
		if !on {
			still = append(still, w)
		}
	}
	if len(still) < len(owed) {
		d.setOwed(still, "the printer says that the rest is as it was")
	}
	if slices.Contains(still, record.SwitchIdle) {
		d.putIdleBack()
	}
}

// setOwed keeps what is owed, and learns it.
func (d *Runner) setOwed(still []record.Switch, why string) {
	if err := d.o.Store.SetOwed(context.Background(), still, why); err != nil {
		d.o.Log.Error("owed cannot be kept", "err", err)
		return
	}
	d.learnOwed(still)
	d.o.Changed()
}

// putIdleBack gives the printer its idle switch-off back, if no job has the printer.
func (d *Runner) putIdleBack() {
	loan, err := d.link.LendBriefly()
	if err != nil || d.closing() {
		if err == nil {
			loan.Back(d.link.Now().Homed)
		}
		return
	}
	homed := d.link.Now().Homed
	d.jobs.Go(func() {
		sess, _, err := loan.Open(d.base)
		if err == nil {
			_, err = sess.Ask(d.base, d.o.Words.IdleOff(d.idleOff()))
		}
		alive := sess != nil && sess.Err() == nil
		if err != nil {
			d.o.Log.Warn("the idle switch-off of the motors cannot be put back", "err", err)
		}
		defer loan.Back(homed && alive)
		if !alive {
			return // with the next link
		}
		var still []record.Switch
		for _, w := range d.Owed() {
			if w := record.Switch(w); w != record.SwitchIdle {
				still = append(still, w)
			}
		}
		d.setOwed(still, "the idle switch-off is put back")
	})
}

func (d *Runner) Running() bool {
	a := d.current()
	return a != nil && !a.now().Over()
}

// putBack has the printer home and switch on again what is owed, on the
// person's word.
func (d *Runner) putBack(by string) error {
	if d.closing() {
		return errEnding
	}
	loan, err := d.link.Lend()
	if err != nil {
		return err
	}
	d.o.Audit(by, "put back what a run switched off", "")
	d.puts(true)
	d.jobs.Go(func() {
		defer d.puts(false)
		homed := false
		sess, _, err := loan.Open(d.base)
		if err == nil {
			homed, err = d.putBackNow(sess)
		}
		if err != nil {
			d.o.Log.Error("could not be put back", "err", err)
			d.noteOwed(err)
		}
		loan.Back(homed)
		d.o.Changed()
	})
	return nil
}

// puts says whether what is owed is being put back.
func (d *Runner) puts(now bool) {
	d.mu.Lock()
	d.puttingBack = now
	d.mu.Unlock()
	d.o.Changed()
}

func (d *Runner) noteOwed(err error) {
	var s []record.Switch
	for _, w := range d.Owed() {
		s = append(s, record.Switch(w))
	}
	if e := d.o.Store.SetOwed(context.Background(), s, err.Error()); e != nil {
		d.o.Log.Error("owed cannot be kept", "err", e)
	}
}

func (d *Runner) putBackNow(sess *gcode.Session) (homed bool, err error) {
	// Heat that a run of ours left on goes off first; a print is not disturbed.
	hot := slices.Contains(d.Owed(), string(record.SwitchHeaters))
	if err := probe.ForeignUse(d.base, sess, d.o.Words, d.o.Clock, hot); err != nil {
		return false, err
	}
	log := &owedLog{run: record.Run{Setup: d.o.Known(d.link.Now().Facts).Setup}}
	for _, w := range d.Owed() {
		log.run.Off = append(log.run.Off, record.Switch(w))
	}
	log.run.Setup.Levelling = !slices.Contains(log.run.Off, record.SwitchUnlevelled) &&
		(log.run.Setup.Levelling || slices.Contains(log.run.Off, record.SwitchLevelling))
	head := probe.NewHead(sess, d.o.Words, log, d.manner())
	if hot {
		if err := head.Cool(d.base); err != nil {
			return false, err
		}
	}
	if err := head.Home(d.base); err != nil {
		return head.Homed(), err
	}
	if err := head.PutBack(d.base); err != nil {
		return head.Homed(), err
	}
	if err := d.o.Store.ClearOwed(context.Background()); err != nil {
		return head.Homed(), err
	}
	d.learnOwed(nil)
	on := log.run.Setup.Levelling
	d.link.Learn(func(f *link.Facts) { f.Levelling = &on })
	return head.Homed(), nil
}

// owedLog is the log of putting back: it keeps the switches only.
type owedLog struct{ run record.Run }

// Append implements probe.Log.
func (l *owedLog) Append(e record.Event) (record.Event, error) {
	e.N = l.run.Last + 1
	if l.run.Last == 0 {
		l.run.Last, e.N = 1, 2
	}
	return e, l.run.Add(e)
}

// Run implements probe.Log.
func (l *owedLog) Run() record.Run { return l.run.Clone() }
