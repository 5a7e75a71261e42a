package metrics

import (
	"abbed/daemon/api"
	"abbed/daemon/status"
)

var (
	correction    = gauge("correction_state", "State of the correction that stands in the printer.", "state")
	since         = gauge("correction_timestamp_seconds", "When the correction in force was written; absent without one.")
	proved        = gauge("correction_proved", "Whether the correction was gauged while in force.")
	madeTwist     = gauge("correction_twist_radians_per_meter", "The twist from which the correction in force was made.")
	madeTwistHalf = gauge("correction_twist_half_width_radians_per_meter", "Half width of the 95 % interval of that twist.")
	madePitch     = gauge("correction_pitch_radians_per_meter", "The pitch from which the correction in force was made.")
	madePitchHalf = gauge("correction_pitch_half_width_radians_per_meter", "Half width of the 95 % interval of that pitch.")
)

func applied(to sink, s status.Snapshot) {
	a := s.Applied
	oneOf(to, correction, a.State, []api.AppliedState{api.NoneApplied, api.Writing, api.Verifying, api.Kept, api.PutBack, api.Undone, api.ApplyFailed, api.Unfinished})
	if a.State != api.Kept {
		return
	}
	to.flag(proved, a.Proved)
	if !s.AppliedAt.IsZero() {
		to.put(since, float64(s.AppliedAt.UnixMilli())/1e3)
	}
	to.rate(madeTwist, madeTwistHalf, s.TiltApplied.Twist)
	to.rate(madePitch, madePitchHalf, s.TiltApplied.Pitch)
}
