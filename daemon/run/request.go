package run

import (
	"context"
	"errors"

	"abbed/daemon/api"
	"abbed/daemon/known"
	"abbed/gcode"
	"abbed/probe/record"
)

// fromPrinter is who asks for a run with a line of the printer's.
const fromPrinter = "the printer's own request"

// Hear takes a line that nobody asked for. It is called by the session's
// reader, and does not wait.
func (d *Runner) Hear(l gcode.Line) {
	d.feel(l)
	if !d.o.Words.IsRequest(l) {
		return
	}
	select {
	case d.asked <- struct{}{}:
	default: // one is waiting already
	}
}

// Requests makes a run for each line by which the printer requests one, until
// the context ends. The run waits for a person's confirmation like any other;
// what the line says beside its pattern counts for nothing. While a run is
// active a request is dropped, so that a button that is held starts one run.
func (d *Runner) Requests(ctx context.Context) {
	for {
		select {
		case <-d.asked:
		case <-ctx.Done():
			return
		}
		run, err := d.StartRun(ctx, api.NewRun{Steps: d.doableOf(wholeJob)}, fromPrinter)
		var refused *api.Error
		switch {
		case err == nil:
			d.o.Log.Info("the printer requests a run; it waits for a person's confirmation", "run", run.ID)
		case errors.As(err, &refused):
			d.o.Log.Warn("the printer requests a run, but none can be made", "code", refused.Code, "why", refused.Text, "hint", refused.Hint)
		default:
			d.o.Log.Warn("the printer requests a run, but none can be made", "why", err)
		}
	}
}

// doableOf are the steps of a job, as far as they can be done; if none can, the
// first, so that the refusal says why.
func (d *Runner) doableOf(job []record.Step) []string {
	l := d.link.Now()
	can := known.Steps(d.o.Known(l.Facts), l)
	var out []string
	for _, s := range job {
		if can[string(s)].Can {
			out = append(out, string(s))
		}
	}
	if out == nil {
		return []string{string(job[0])}
	}
	return out
}

// wholeJob are the steps of the whole job.
var wholeJob = []record.Step{record.StepRepeat, record.StepGauging, record.StepSurvey}
