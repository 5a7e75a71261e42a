package page

import (
	"slices"

	"abbed/daemon/api"
	"abbed/probe/record"
)

// stage is one step of the job as the person sees it.
type stage struct {
	Label string
	// What it is for, and how long it takes.
	What, Long string
	// State is done, now, todo, off (not part of this run) or cut (not come to
	// its end).
	State string
	Href  string
}

// Labels of the stages.
const (
	check = iota
	steady
	gaugeIt
	survey
	findings
	decide
	apply
	prove
)

// stages says where a run stands in the job, with what its record says of the
// steps that it came to the end of.
func (p *page) stages(run *api.Run) []stage {
	all := stages(run, p.desk.Applied())
	if run == nil || !run.State.Over() {
		return all
	}
	rec, has := p.record(run.ID)
	for step, i := range stageOf {
		if has && all[i].State != "off" && !rec.Did(record.Step(step)) {
			all[i].State = "cut"
		}
	}
	return all
}

// stageOf gives the stage of each step of a run.
var stageOf = map[string]int{"repeat": steady, "gauging": gaugeIt, "survey": survey}

// stages says where a run stands in the job; run nil: before any.
func stages(run *api.Run, applied api.Applied) []stage {
	all := []stage{
		{Label: "check", What: "See that nothing is in the way before anything moves.", Long: "a minute"},
		{Label: "steady?", What: "Touch the same point again and again: does the machine repeat itself?", Long: "some minutes; stay near"},
		{Label: "gauge", What: "Find where the nozzle really is, with a feeler gauge, at a few points.", Long: "about a minute a point; you are needed"},
		{Label: "survey", What: "Touch one row again and again, then the whole bed.", Long: "some minutes; you can go"},
		{Label: "findings", What: "What the measurements say, and how sure.", Long: "at once"},
		{Label: "decide", What: "Repair, correct, or leave it.", Long: "as long as you like"},
		{Label: "apply", What: "Write the correction, read it back, or undo it.", Long: "a minute"},
		{Label: "prove", What: "Gauge the nozzle with the correction in force; the probe cannot prove it.", Long: "a few minutes; you are needed"},
	}
	for i := range all {
		all[i].State = "todo"
	}
	if run == nil {
		all[check].State = "now"
		return all
	}
	here := "/run/" + run.ID
	for i := range all {
		all[i].Href = here
	}
	now := position(*run)
	for i := range all {
		if i < now {
			all[i].State = "done"
		}
	}
	all[now].State = "now"
	for step, i := range stageOf {
		if !slices.Contains(run.Steps, step) {
			all[i].State, all[i].Href = "off", ""
		}
	}
	if run.State.Over() {
		after(all, *run, applied)
	} else {
		for _, i := range []int{findings, decide, apply, prove} {
			all[i].Href = ""
		}
	}
	return all
}

// position returns the stage that a run is in.
func position(run api.Run) int {
	if run.State == api.AwaitingConfirmation {
		return check
	}
	if run.Proves() {
		return prove
	}
	switch run.Step {
	case "repeat":
		if run.Unwatched && slices.Contains(run.Steps, "gauging") && slices.Contains(run.Steps, "survey") {
			return survey // its rows come after the gauge
		}
		return steady
	case "gauging":
		return gaugeIt
	case "survey", "plate-turn", "coupons", "angles", "reference":
		return survey
	case "analysis":
		return findings
	}
	return check
}

// after sets what comes once a run is over.
func after(all []stage, run api.Run, applied api.Applied) {
	here := "/run/" + run.ID
	if run.Proves() { // what it showed stands with the correction
		for _, i := range []int{findings, decide, apply} {
			all[i].Href = "/applied"
		}
		all[prove].Href = "/applied"
		if applied.State == api.Kept && applied.Proved {
			all[prove].State = "done"
		}
		return
	}
	all[findings].State, all[findings].Href = "now", here+"/results"
	all[decide].Href, all[apply].Href, all[prove].Href = here+"/results#decide", here+"/review", ""
	if position(run) < findings { // it ended early: what was not reached stays open
		all[position(run)].State = "cut"
	}
	if applied.Run == run.ID && applied.State == api.Kept {
		all[findings].State, all[decide].State, all[apply].State = "done", "done", "done"
		all[apply].Href, all[prove].Href, all[prove].State = "/applied", "/applied", "now"
		if applied.Proved {
			all[prove].State = "done"
		}
	}
}
