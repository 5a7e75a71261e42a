package results

import (
	"abbed/analysis"
	"abbed/analysis/steady"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// Shown is a run as its events tell it.
func Shown(run record.Run) api.Run {
	out := api.Run{
		ID: run.ID, Step: string(run.Step), Began: run.Began, Touches: len(run.Touches),
		Gaugings: len(run.Gaugings), Number: run.Last, Steps: names(run.Steps), State: api.Failed, For: run.For,
	}
	if h := run.Heat; h != nil {
		out.Heat = &api.Heat{Nozzle: &h.Nozzle, Bed: &h.Bed}
	}
	if out.Step == "" {
		out.Step = string(record.StepPrepare)
	}
	if run.Ended != nil {
		out.State = api.State(run.Ended.State)
	}
	if n := len(run.Faults); n > 0 {
		last := run.Faults[n-1]
		out.Error = &last
	}
	out.Sentence = Ending(run)
	return out
}

func names(steps []record.Step) []string {
	out := make([]string, len(steps))
	for i, s := range steps {
		out[i] = string(s)
	}
	return out
}

// Ending says how a run ended.
func Ending(run record.Run) string {
	switch {
	case run.Ended == nil:
		return "The run did not come to its end."
	case run.Cut != nil:
		return run.Cut.Text + " " + run.Cut.Next
	case run.Ended.State == record.EndDone && run.Proof != nil:
		return proofSays(run)
	case run.Ended.State == record.EndDone && run.For != "":
		return "Done: what was gauged counts in the earlier run that it was made for. See the findings there."
	case run.Ended.State == record.EndDone:
		return "Done: see the findings."
	case run.Ended.State == record.EndStopped && run.Confirmed == nil:
		return "Withdrawn before it began. Nothing was sent to the printer."
	case run.Ended.State == record.EndStopped:
		return "Stopped, as was asked. What was measured is kept." + joins(run) + " The machine has to be homed again."
	case len(run.Faults) > 0:
		f := run.Faults[len(run.Faults)-1]
		plain, known := api.Codes[f.Code]
		if !known {
			plain = f.Text
		}
		return "The run failed: " + plain + ". What was measured is kept." + joins(run) + " Next: " + f.Hint + "."
	}
	return "Failed. What was measured is kept."
}

// joins says of a run that did not come to its end whether what it gauged counts in the
// earlier one that it was made for.
func joins(run record.Run) string {
	if run.For == "" || len(run.Gaugings) == 0 {
		return ""
	}
	if why := steady.Unsound(run); why != nil {
		return " What was gauged does not count in the earlier run: where the head stood before it failed is in doubt."
	}
	var at []record.GapReading
	for _, g := range steady.Finished(run) {
		at = append(at, record.GapReading{Place: g.Place})
	}
	if analysis.Places(at) < 2 {
		return " Fewer than two places were gauged to their end: in the earlier run that counts nothing."
	}
	return " The places that were gauged to their end count in the earlier run; see the findings there."
}
