package metrics

import (
	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/daemon/api"
	"abbed/daemon/status"
)

var (
	steady     = gauge("steady", "Whether all gates passed in the latest run that tested it.")
	scatter    = gauge("probe_scatter_meters", "Standard deviation of the probe.")
	firstTouch = gauge("probe_first_touch_meters", "Bias of the first touch.")
	drift      = gauge("drift_meters_per_second", "Drift of the heights.")
	play       = gauge("play_meters", "Difference by side of approach.", "axis")
	wander     = gauge("wander_meters", "Standard deviation between passes of one row.")
	limit      = gauge("limit_meters", "The owner's threshold, above which a matter is a finding.", "of")
	limitDrift = gauge("limit_drift_meters_per_second", "The owner's threshold for the drift.")

	twist        = gauge("twist_radians_per_meter", "How fast the head rolls along X, from end to end of the gauged width.")
	twistHalf    = gauge("twist_half_width_radians_per_meter", "Half width of the 95 % interval of the twist.")
	pitch        = gauge("pitch_radians_per_meter", "How fast the head pitches along X, from end to end; the beam's straightness is in it.")
	pitchHalf    = gauge("pitch_half_width_radians_per_meter", "Half width of the 95 % interval of the pitch.")
	tiltChange   = gauge("tilt_change_radians_per_meter", "By how much the tilt rate changed up to the latest gauged run: since the run before it, and since the one of the correction in force.", "of", "since")
	tiltHalf     = gauge("tilt_change_half_width_radians_per_meter", "Half width of the 95 % interval of that change.", "of", "since")
	tiltMoved    = gauge("tilt_moved", "Whether that change is beyond its doubt.", "of", "since")
	leverShare   = gauge("twist_share_ratio", "Share of the map's left-to-right shape that is lever error.")
	leverHalf    = gauge("twist_share_half_width_ratio", "Half width of the 95 % interval of the share.")
	level        = gauge("z_offset_error_meters", "Error of the Z offset; positive is too high.")
	levelHalf    = gauge("z_offset_error_half_width_meters", "Half width of the 95 % interval of the Z offset's error.")
	largest      = gauge("gap_error_largest_meters", "Largest nozzle error found before the correction in force, and what it leaves; without sign.", "when")
	largestHalf  = gauge("gap_error_largest_half_width_meters", "Half width of the 95 % interval of the largest nozzle error.", "when")
	finding      = gauge("finding", "Whether the latest analysis has this finding.", "id")
	findingNames = []string{
		analysis.Healthy, analysis.BeamTwist, analysis.BeamPitch, analysis.HeadTilt, analysis.BedRoll, analysis.BedPitch, analysis.TrueShape,
		analysis.LooseCarriage, analysis.WornWheels, analysis.ProbeNotRepeatable, analysis.DriftFound, analysis.NoLever, analysis.Repair, analysis.Undetermined,
	}
)

func stability(to sink, s status.Snapshot) {
	for _, l := range []struct {
		of string
		mm float64
	}{{"tolerance", s.Limits.Tolerance}, {"scatter", s.Limits.Scatter}, {"play", s.Limits.Play}, {"wander", s.Limits.Wander}} {
		to.put(limit, l.mm*1e-3, l.of)
	}
	to.put(limitDrift, s.Limits.DriftRate*base["mm/min"])
	if s.Steady == nil {
		return
	}
	to.flag(steady, s.Steady.Steady)
	to.measured(scatter, s.Steady.Scatter)
	to.measured(firstTouch, s.Steady.FirstTouch)
	to.measured(drift, s.Steady.DriftRate)
	to.measured(play, s.Steady.PlayX, "x")
	to.measured(play, s.Steady.PlayY, "y")
	to.measured(wander, s.Steady.Wander)
}

func gauged(to sink, s status.Snapshot) {
	to.rate(twist, twistHalf, s.Tilt.Twist)
	to.rate(pitch, pitchHalf, s.Tilt.Pitch)
	for _, since := range []string{status.SinceRun, status.SinceCorrection} {
		to.moved("twist", since, s.Moved[since].Twist)
		to.moved("pitch", since, s.Moved[since].Pitch)
	}
	if s.Gauged != nil {
		to.doubted(leverShare, leverHalf, s.Gauged.Share)
		to.doubted(level, levelHalf, s.Gauged.Level)
	}
	to.bound("before", s.GapBefore)
	to.bound("after", s.GapAfter)
}

// rate sends a rate of tilt, given in rad per mm.
func (s sink) rate(f, half family, m *analysis.Measured) {
	if m != nil {
		s.doubted(f, half, &api.Measured{Value: m.Value, Lo95: m.Lo95, Hi95: m.Hi95, Unit: "rad/mm"})
	}
}

// moved sends a change of a rate of tilt, given in the unit of its values.
func (s sink) moved(of, since string, c *compare.Change) {
	if c != nil && base[c.By.Unit] > 0 {
		k := base[c.By.Unit]
		s.put(tiltChange, c.By.Value*k, of, since)
		s.put(tiltHalf, c.By.U95()*k, of, since)
		s.flag(tiltMoved, c.Beyond, of, since)
	}
}

func (s sink) bound(when string, b *status.Bound) {
	if b != nil {
		s.put(largest, b.Value*1e-3, when)
		s.put(largestHalf, b.Half*1e-3, when)
	}
}

func findings(to sink, a *api.Analysis) {
	if a == nil {
		return
	}
	has := map[string]bool{}
	for _, f := range a.Findings {
		has[f.ID] = true
	}
	for _, id := range findingNames {
		to.flag(finding, has[id], id)
	}
}
