package page

import (
	"slices"

	"abbed/daemon/api"
	"abbed/probe/record"
)

// stage is one of the four parts of the job.
type stage struct {
	Label string
	// State is done, now, todo or cut (it ended before its end).
	State string
	Href  string
}

// The stages.
const (
	prepare = iota
	measure
	decide
	verify
)

// stages says where a run is in the job, with what its record says of the steps that
// came to their end; run nil: before any.
func (p *page) stages(run *api.Run) []stage {
	all := []stage{{Label: "prepare"}, {Label: "measure"}, {Label: "decide"}, {Label: "verify"}}
	now := prepare
	if run != nil {
		now = position(*run)
	}
	for i := range all {
		all[i].State = map[bool]string{true: "done", false: "todo"}[i < now]
		if run != nil && i <= min(now, measure) {
			all[i].Href = "/run/" + run.ID
		}
	}
	all[now].State = "now"
	if run == nil || !run.State.Over() {
		return all
	}
	applied := p.desk.Applied()
	switch {
	case run.Proves():
		all[decide].Href, all[verify].Href = "/applied", "/applied"
		if applied.Proved {
			all[verify].State = "done"
		}
	case applied.Run == run.ID && applied.State == api.Kept:
		all[decide].State, all[decide].Href, all[verify].State, all[verify].Href = "done", "/run/"+run.ID+"/results", "now", "/applied"
		if applied.Proved {
			all[verify].State = "done"
		}
	default:
		all[decide].Href = "/run/" + run.ID + "/results"
	}
	if rec, has := p.record(run.ID); has && !run.Proves() && slices.ContainsFunc(run.Steps, func(s string) bool { return !rec.Did(record.Step(s)) }) {
		all[measure].State = "cut"
	}
	return all
}

// position is the stage that a run is in.
func position(run api.Run) int {
	switch {
	case run.State == api.AwaitingConfirmation:
		return prepare
	case run.Proves():
		return verify
	case run.State.Over(), run.Step == "analysis":
		return decide
	}
	return measure
}
