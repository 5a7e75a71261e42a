package metrics

import (
	"abbed/daemon/api"
	"abbed/daemon/status"
)

var (
	buildInfo = gauge("build_info", "Which program this is.", "version", "commit", "go")
	gathered  = gauge("snapshot_timestamp_seconds", "When the values were gathered.")

	up        = gauge("up", "Whether the printer is identified (link ready or resting).")
	linkState = gauge("link_state", "State of the link to the printer.", "state")
	portHeld  = gauge("port_held", "Whether this program has the printer's port open.")
	homed     = gauge("printer_homed", "Whether the machine knows where it is.")
	levelling = gauge("levelling_enabled", "Whether the stored levelling is on.")
	warm      = gauge("temperature_celsius", "Temperature as last heard.", "part")
	wanted    = gauge("temperature_target_celsius", "Target of the heater.", "part")
	toDo      = gauge("to_do", "Whether a person should do something; the words are those of the room and of abbed status.", "id")
	owed      = gauge("owed_switches", "Switches that a run threw and are not put back yet.")

	touches  = counter("touches_total", "Touches of the probe.")
	gaugings = counter("gaugings_total", "Readings at the gauge.")
	faults   = counter("faults_total", "Faults of the printer and of the link.")
	resends  = counter("resends_total", "Lines that had to be sent again.")
	lines    = counter("lines_total", "Lines heard from the printer.")
	busy     = counter("printer_busy_seconds_total", "How long the printer was busy with commands of runs.")
	waited   = counter("host_wait_seconds_total", "How long the printer waited for a run's next command, without waits for a person.")
	share    = gauge("host_share_ratio", "Share of the latest run's busy time in which the printer waited for this program.")

	storeBytes  = gauge("store_bytes", "How much of the store's file is in use.")
	storeLimit  = gauge("store_limit_bytes", "From where on runs are dropped.")
	diskFree    = gauge("state_free_bytes", "How much room the disk of the state directory has left.")
	runsDue     = gauge("runs_due", "Runs that will be dropped soon: old, or the store is nearly full.")
	runsDropped = counter("runs_dropped_total", "Runs that were dropped, after a warning.")

	runActive    = gauge("run_active", "Whether a run goes on, or waits for its confirmation.")
	runState     = gauge("run_state", "State of the latest run since the start of the program.", "state")
	runProgress  = gauge("run_progress_ratio", "Progress of the step in hand.")
	stepAt       = gauge("step_last_timestamp_seconds", "When a step last ended.", "step")
	stepSuccess  = gauge("step_last_success", "Whether a step came to its end when it last ran.", "step")
	notReapplied = counter("reapply_refused_total", "Re-applies that were refused, by the code of the refusal.", "code")
	checkDue     = gauge("check_due_timestamp_seconds", "When the next check is due; absent without a calendar.")
)

func program(to sink, s status.Snapshot) {
	to.put(buildInfo, 1, s.Build.Version, s.Build.Commit, s.Build.Go)
	to.put(gathered, float64(s.At.UnixMilli())/1e3)
}

func printer(to sink, s status.Snapshot) {
	p := s.Printer
	to.flag(up, p.Link == api.Ready || p.Link == api.Resting)
	oneOf(to, linkState, p.Link, []api.Link{api.Unopened, api.Connecting, api.Ready, api.Resting, api.Taken, api.Lost})
	to.flag(portHeld, s.PortHeld)
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
	asked := map[string]bool{}
	for _, t := range p.Todo {
		asked[t.ID] = true
	}
	for _, t := range status.Matters() {
		switch t.ID {
		case status.TodoRepair, status.TodoUnsteady, status.TodoDisk: // abbed_finding, abbed_steady and abbed_state_free_bytes tell them
		default:
			to.flag(toDo, asked[t.ID], t.ID)
		}
	}
	to.put(owed, float64(len(p.Owed)))
}

func counters(to sink, s status.Snapshot) {
	c := s.Counters
	to.put(touches, float64(c.Touches))
	to.put(gaugings, float64(c.Gaugings))
	to.put(faults, float64(c.Faults))
	to.put(resends, float64(c.Resends))
	to.put(lines, float64(c.Lines))
	to.put(busy, c.Busy)
	to.put(waited, c.Waited)
	if s.HostShare != nil {
		to.put(share, *s.HostShare)
	}
}

func kept(to sink, k status.Kept) {
	to.put(storeBytes, float64(k.Bytes))
	to.put(storeLimit, float64(k.Limit))
	if k.Free >= 0 {
		to.put(diskFree, float64(k.Free))
	}
	to.put(runsDue, float64(k.Due))
	to.put(runsDropped, float64(k.Dropped))
}

func runs(to sink, s status.Snapshot) {
	active := s.Run != nil && !s.Run.State.Over()
	to.flag(runActive, active)
	if s.Run != nil {
		oneOf(to, runState, s.Run.State, []api.State{api.AwaitingConfirmation, api.Running, api.AwaitingPerson, api.AwaitingGauge, api.AwaitingNext, api.Done, api.Stopped, api.Failed})
	}
	if active && s.Run.Progress.Of > 0 {
		to.put(runProgress, float64(s.Run.Progress.Done)/float64(s.Run.Progress.Of))
	}
	for step, last := range s.Steps {
		to.put(stepAt, float64(last.At.UnixMilli())/1e3, step)
		to.flag(stepSuccess, last.Success, step)
	}
	for code, n := range s.ReapplyRefused {
		to.put(notReapplied, float64(n), code)
	}
	if !s.Check.Due.IsZero() {
		to.put(checkDue, float64(s.Check.Due.UnixMilli())/1e3)
	}
}
