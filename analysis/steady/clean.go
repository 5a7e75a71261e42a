package steady

import (
	"abbed/analysis/result"
	"abbed/probe/record"
)

// Clean returns the run without touches and gaugings whose numbers are not
// finite or beyond belief, and with criteria and setup made usable, so that
// nothing behind it needs to ask. A run from the wire is unchanged by it.
func Clean(run record.Run) record.Run {
	run = run.Clone()
	run.Touches = result.Keep(run.Touches, func(t record.Touch) bool {
		return result.Tame(t.Place.U, t.Place.V, t.Z, t.T/100)
	})
	run.Gaugings = result.Keep(run.Gaugings, func(g record.Gauging) bool {
		return result.Tame(g.Place.U, g.Place.V, g.Z, g.T/100, g.Blade)
	})
	for i := range run.Gaugings {
		if g := &run.Gaugings[i]; !(g.Step >= 0 && g.Step <= 1) {
			g.Step = 0
		}
	}
	run.Readings = result.Keep(run.Readings, func(r record.Reading) bool {
		return result.Tame(r.Place.U, r.Place.V, r.Value, r.T/100) && r.U > 0 && r.U <= result.Wild
	})
	run.Laid = result.Keep(run.Laid, func(l record.Laid) bool {
		r := l.Reference
		return r == nil || result.Tame(r.Y, r.Thickness, r.Straight) && r.Straight >= 0
	})
	once := map[string]bool{run.ID: true} // a run tells nothing beside itself, and nothing twice
	run.Joined = result.Keep(run.Joined, func(j record.Joined) bool {
		was := once[j.Run]
		once[j.Run] = true
		return !was
	})
	for i, j := range run.Joined {
		run.Joined[i].Gaps = result.Keep(j.Gaps, func(g record.GapReading) bool {
			return result.Tame(g.Place.U, g.Place.V, g.G) && g.U > 0 && g.U <= result.Wild
		})
	}
	s := &run.Setup
	s.Criteria = Usable(s.Criteria)
	if !result.Tame(s.Lever.X, s.Lever.Y) {
		s.Lever = record.Lever{}
	}
	if !result.Tame(s.Zero.U, s.Zero.V) {
		s.Zero = record.Place{}
	}
	if !(s.ReportStep >= 0 && s.ReportStep < 1) {
		s.ReportStep = 0
	}
	if s.MapArea != nil && !s.MapArea.Valid() {
		s.MapArea = nil
	}
	return run
}

// Usable puts the default in place of each criterion that is not a positive
// number: old runs do not have the younger criteria.
func Usable(c record.Criteria) record.Criteria {
	d := record.DefaultCriteria()
	for _, f := range []struct {
		v *float64
		d float64
	}{
		{&c.Tolerance, d.Tolerance}, {&c.Scatter, d.Scatter}, {&c.Play, d.Play}, {&c.Wander, d.Wander},
		{&c.DriftRate, d.DriftRate}, {&c.DriftLeft, d.DriftLeft}, {&c.DriftSaid, d.DriftSaid},
		{&c.Largest, d.Largest}, {&c.Steepest, d.Steepest}, {&c.DoubtShare, d.DoubtShare},
		{&c.GaugeU, d.GaugeU}, {&c.GaugeScatter, d.GaugeScatter},
		{&c.GaugedMargin, d.GaugedMargin}, {&c.NodeReach, d.NodeReach}, {&c.MapDiffers, d.MapDiffers},
		{&c.WheelLeast, d.WheelLeast}, {&c.WheelMost, d.WheelMost}, {&c.BeltTurn, d.BeltTurn}, {&c.ScrewLead, d.ScrewLead},
	} {
		if !(*f.v > 0 && *f.v <= result.Wild) {
			*f.v = f.d
		}
	}
	return c
}
