package metrics

import (
	"abbed/daemon/api"
	"abbed/daemon/status"
)

var (
	buildInfo = gauge("build_info", "Which program this is.", "version", "commit", "go")
	gathered  = gauge("snapshot_timestamp_seconds", "When the values were gathered.")

	linkUp    = gauge("link_up", "Whether the printer is identified.")
	linkState = gauge("link_state", "State of the link to the printer.", "state")
	homed     = gauge("printer_homed", "Whether the machine knows where it is.")
	levelling = gauge("levelling_enabled", "Whether the stored levelling is on.")
	warm      = gauge("temperature_celsius", "Temperature as last heard.", "part")
	wanted    = gauge("temperature_target_celsius", "Target of the heater.", "part")
	owed      = gauge("owed_switches", "Switches that a run threw and are not put back yet.")

	touches  = counter("touches_total", "Touches of the probe.")
	gaugings = counter("gaugings_total", "Records at the blade.")
	faults   = counter("faults_total", "Faults of the printer and of the link.")
	resends  = counter("resends_total", "Lines that had to be sent again.")
	lines    = counter("lines_total", "Lines heard from the printer.")

	storeBytes  = gauge("store_bytes", "How much of the store's file is in use.")
	runsDue     = gauge("runs_due", "Runs that will be dropped soon: old, or the store is nearly full.")
	runsDropped = counter("runs_dropped_total", "Runs that were dropped, after a warning.")

	runActive   = gauge("run_active", "Whether a run goes on.")
	runProgress = gauge("run_progress_ratio", "Progress of the step in hand.")
	stepAt      = gauge("step_last_timestamp_seconds", "When a step last ended.", "step")
	stepSuccess = gauge("step_last_success", "Whether a step came to its end when it last ran.", "step")

	steady     = gauge("steady", "Whether all gates passed in the latest analysis.")
	scatter    = gauge("probe_scatter_meters", "Standard deviation of the probe.")
	firstTouch = gauge("probe_first_touch_meters", "Bias of the first touch.")
	drift      = gauge("drift_meters_per_second", "Drift of the heights.")
	play       = gauge("play_meters", "Difference by side of approach.", "axis")
	wander     = gauge("wander_meters", "Standard deviation between passes of one row.")
	share      = gauge("twist_share_ratio", "Share of the map's left-to-right shape that is lever error.")
	level      = gauge("z_offset_error_meters", "Error of the Z offset; positive is too high.")
	largest    = gauge("gap_error_largest_meters", "Largest gap error, without sign.", "when")
	finding    = gauge("finding", "Findings of the latest analysis.", "id")

	correction = gauge("correction_state", "State of the correction that stands in the printer.", "state")
	proved     = gauge("correction_proved", "Whether the correction was gauged while in force.")
)

func program(to sink, s status.Snapshot) {
	to.put(buildInfo, 1, s.Build.Version, s.Build.Commit, s.Build.Go)
	to.put(gathered, float64(s.At.UnixMilli())/1e3)
}

func printer(to sink, p api.Printer) {
	to.flag(linkUp, p.Link == api.Ready || p.Link == api.Resting)
	for _, l := range []api.Link{api.Unopened, api.Connecting, api.Ready, api.Resting, api.Taken, api.Lost} {
		to.flag(linkState, p.Link == l, string(l))
	}
	to.flag(homed, p.Homed)
	if p.Levelling.Value != nil {
		to.flag(levelling, *p.Levelling.Value)
	}
	if t := p.Temperatures; t != nil {
		to.put(warm, t.Nozzle, "nozzle")
		to.put(warm, t.Bed, "bed")
		to.put(wanted, t.NozzleTarget, "nozzle")
		to.put(wanted, t.BedTarget, "bed")
	}
	to.put(owed, float64(len(p.Owed)))
}

func counters(to sink, c status.Counters) {
	to.put(touches, float64(c.Touches))
	to.put(gaugings, float64(c.Gaugings))
	to.put(faults, float64(c.Faults))
	to.put(resends, float64(c.Resends))
	to.put(lines, float64(c.Lines))
}

func kept(to sink, k status.Kept) {
	to.put(storeBytes, float64(k.Bytes))
	to.put(runsDue, float64(k.Due))
	to.put(runsDropped, float64(k.Dropped))
}

func runs(to sink, s status.Snapshot) {
	active := s.Run != nil && !s.Run.State.Over()
	to.flag(runActive, active)
	if active && s.Run.Progress.Of > 0 {
		to.put(runProgress, float64(s.Run.Progress.Done)/float64(s.Run.Progress.Of))
	}
	for step, last := range s.Steps {
		to.put(stepAt, float64(last.At.UnixMilli())/1e3, step)
		to.flag(stepSuccess, last.Success, step)
	}
}

func analysis(to sink, a api.Analysis) {
	to.flag(steady, a.Stability.Steady)
	to.measured(scatter, a.Stability.Scatter)
	to.measured(firstTouch, a.Stability.FirstTouch)
	to.measured(drift, a.Stability.DriftRate)
	to.measured(play, a.Stability.PlayX, "x")
	to.measured(play, a.Stability.PlayY, "y")
	to.measured(wander, a.Stability.Wander)
	to.measured(share, a.Share)
	to.measured(level, a.Level)
	seen := map[string]bool{}
	for _, f := range a.Findings {
		if !seen[f.ID] {
			seen[f.ID] = true
			to.flag(finding, true, f.ID)
		}
	}
}

func gaps(to sink, s status.Snapshot) {
	if s.GapBefore != nil {
		to.put(largest, *s.GapBefore*1e-3, "before")
	}
	if s.GapAfter != nil {
		to.put(largest, *s.GapAfter*1e-3, "after")
	}
}

func applied(to sink, a api.Applied) {
	for _, st := range []api.AppliedState{api.NoneApplied, api.Writing, api.Verifying, api.Kept, api.PutBack, api.Undone, api.ApplyFailed, api.Unfinished} {
		to.flag(correction, a.State == st, string(st))
	}
	to.flag(proved, a.Proved)
}
