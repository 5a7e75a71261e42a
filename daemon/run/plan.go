package run

import (
	"context"
	"strconv"
	"time"

	"abbed/config"
	"abbed/daemon/link"
	"abbed/probe"
)

// manner is how the head is driven, by the settings.
func (d *Runner) manner() probe.Manner {
	s := d.o.Owner()
	// A straight probe stops at the nozzle's own height, unless the owner says
	// that the printer adds the offset.
	raw := !s.Probe.AddsOffset
	if _, said := s.Given["probe.adds_offset"]; s.Probe.Style == config.StyleStraight && !said {
		raw = true
	}
	return probe.Manner{
		Style: probe.Style(s.Probe.Style), RawHeights: raw, IdleOff: d.idleOff(), Heat: d.heatLimits(), Clock: d.o.Clock,
		Feeds: probe.Feeds{Travel: 60 * s.Feeds.Travel, Z: 60 * s.Feeds.Z, Probe: 60 * s.Feeds.Probe},
	}
}

// idleOff is what the printer's idle switch-off of the motors is put back to, s:
// what the owner set, else what the printer said, else the default.
func (d *Runner) idleOff() int {
	s := d.o.Owner()
	otherwise := int(s.IdleOff / time.Second)
	if _, said := s.Given["idle_off"]; said {
		return otherwise
	}
	if f := d.link.Now().Facts; f != nil && f.IdleOff != nil && *f.IdleOff != probe.HeldOff {
		return *f.IdleOff
	}
	// A run that was cut off left it held; what the printer said before counts.
	text, _, err := d.o.Store.Report(context.Background(), idleReport)
	if said, bad := strconv.Atoi(text); err == nil && bad == nil {
		return said
	}
	return otherwise
}

// idleReport is the name under which the printer's idle switch-off is kept.
const idleReport = "idle-off"

// hearSettings takes from the settings report with which a run begins what the idle
// switch-off is put back to: the owner may have set it since the printer was
// identified. It is kept, in case the run is cut off while it is held.
func (d *Runner) hearSettings(settings string) int {
	said, ok := link.IdleOffIn(settings)
	if !ok || said == probe.HeldOff {
		return d.idleOff()
	}
	d.link.Learn(func(f *link.Facts) { f.IdleOff = &said })
	if err := d.o.Store.SaveReport(context.Background(), idleReport, strconv.Itoa(said), time.Now()); err != nil {
		d.o.Log.Error("the printer's idle switch-off cannot be kept", "err", err)
	}
	return d.idleOff()
}

// plan is how much is measured, by the settings; quick is the size of the
// calendar's check.
func (d *Runner) plan(quick bool) probe.Plan {
	s, p := d.o.Owner(), probe.DefaultPlan()
	p.Rounds, p.Move, p.RowHalf, p.RowStep, p.Passes = s.Repeat.Rounds, s.Repeat.Move, s.Repeat.RowHalf, s.Repeat.RowStep, s.Repeat.Passes
	p.Lean, p.Target = s.Gauging.Plan == config.PlanNormal, s.Gauging.Target
	p.Records, p.Patience = s.Gauging.Records, s.Gauging.Idle
	p.GaugeColumns, p.GaugeRows = s.Gauging.Columns, s.Gauging.Rows
	p.Columns, p.Rows, p.BaseEvery = s.Survey.Columns, s.Survey.Rows, s.Survey.BaseEvery
	p.Chosen, p.ProfileTarget, p.Finest = s.Survey.Plan == config.PlanLean && !quick, s.Survey.Target, s.Turns.WheelLeast
	if p.Chosen {
		p.Columns, p.Rows, p.BaseEvery = 0, 0, 0 // the planner chooses
	}
	if quick {
		p.Columns, p.Rows = 5, 2 // five columns show a bend, two rows tell bed from beam a little
	}
	return p
}
