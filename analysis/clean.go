package analysis

import (
	"math"

	"abbed/config/say"
	"abbed/probe/record"
)

// wild is the largest coordinate, mm, and longest time, s / 100, that is
// believed: beyond it a number is a slip of the wire or the file.
const wild = 1e5

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func tame(vs ...float64) bool {
	for _, v := range vs {
		if !(math.Abs(v) <= wild) {
			return false
		}
	}
	return true
}

// clean returns the run without touches and gaugings whose numbers are not
// finite or beyond belief, and with criteria and setup made usable, so that
// nothing behind it needs to ask. A run from the wire is unchanged by it.
func clean(run record.Run) record.Run {
	run = run.Clone()
	run.Touches = keep(run.Touches, func(t record.Touch) bool {
		return tame(t.Place.U, t.Place.V, t.Z, t.T/100)
	})
	run.Gaugings = keep(run.Gaugings, func(g record.Gauging) bool {
		return tame(g.Place.U, g.Place.V, g.Z, g.T/100, g.Blade)
	})
	for i := range run.Gaugings {
		if g := &run.Gaugings[i]; !(g.Step >= 0 && g.Step <= 1) {
			g.Step = 0
		}
	}
	run.Readings = keep(run.Readings, func(r record.Reading) bool {
		return tame(r.Place.U, r.Place.V, r.Value, r.T/100) && r.U > 0 && r.U <= wild
	})
	run.Laid = keep(run.Laid, func(l record.Laid) bool {
		r := l.Reference
		return r == nil || tame(r.Y, r.Thickness, r.Straight) && r.Straight >= 0
	})
	once := map[string]bool{run.ID: true} // a run tells nothing beside itself, and nothing twice
	run.Joined = keep(run.Joined, func(j record.Joined) bool {
		was := once[j.Run]
		once[j.Run] = true
		return !was
	})
	for i, j := range run.Joined {
		run.Joined[i].Gaps = keep(j.Gaps, func(g record.GapReading) bool {
			return tame(g.Place.U, g.Place.V, g.G) && g.U > 0 && g.U <= wild
		})
	}
	s := &run.Setup
	s.Criteria = usable(s.Criteria)
	if !tame(s.Lever.X, s.Lever.Y) {
		s.Lever = record.Lever{}
	}
	if !tame(s.Zero.U, s.Zero.V) {
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

// usable puts the default in place of each criterion that is not a positive
// number: old runs do not have the younger criteria.
func usable(c record.Criteria) record.Criteria {
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
		if !(*f.v > 0 && *f.v <= wild) {
			*f.v = f.d
		}
	}
	return c
}

func keep[T any](in []T, good func(T) bool) []T {
	out := in[:0:0]
	for _, x := range in {
		if good(x) {
			out = append(out, x)
		}
	}
	return out
}

// um and mm0 write lengths as people read them.
func um(v float64) string  { return say.Fine(v) }
func mm0(v float64) string { return say.Far(v) }
