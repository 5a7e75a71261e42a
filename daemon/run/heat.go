package run

import (
	"time"

	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/gcode"
	"abbed/gcode/dialect"
)

// heat is what the printer said of its temperatures without being asked.
type heat struct {
	temps dialect.Temps
	at    time.Time
}

// feel keeps the temperatures of a line that came by itself. It is called by the
// session's reader, and does not wait. Nothing is drawn anew for it: the next
// look shows it.
func (d *Runner) feel(l gcode.Line) {
	if l.Kind != gcode.Temperatures || l.Damaged {
		return
	}
	if t, ok := d.o.Words.ReadTemperatures(gcode.Reply{Lines: []gcode.Line{l}}); ok {
		d.heard.Store(&heat{t, time.Now()})
	}
}

// Temperatures are the latest of those that were asked at the identification
// and those that came by themselves; nil if there are none. They are for people
// to read: what guards a motion asks the printer anew.
func (d *Runner) Temperatures(f *link.Facts) *api.Temperatures {
	var t dialect.Temps
	var at time.Time
	if f.Temps != nil {
		t, at = *f.Temps, f.TempsAt
	}
	if h := d.heard.Load(); h != nil && h.at.After(at) {
		t, at = h.temps, h.at
	}
	if at.IsZero() && f.Temps == nil {
		return nil
	}
	out := &api.Temperatures{Nozzle: t.Nozzle, NozzleTarget: t.NozzleTarget, Bed: t.Bed, BedTarget: t.BedTarget}
	if !at.IsZero() {
		out.Heard = &at
	}
	return out
}
