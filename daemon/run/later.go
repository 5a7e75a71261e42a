package run

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"abbed/analysis"
	"abbed/analysis/steady"
	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/probe"
	"abbed/probe/record"
)

// earlierOf returns the run that a new one gauges more for, on the machine as it is
// now; or why it cannot.
func (d *Runner) earlierOf(id string, steps []record.Step, now record.Setup, p probe.Plan) (*probe.Earlier, error) {
	if !slices.Equal(steps, []record.Step{record.StepGauging}) && !slices.Equal(steps, []record.Step{record.StepRepeat, record.StepGauging}) {
		return nil, api.Errorf(422, "other-steps", `{"steps":["gauging"]}, or repeat and gauging; a survey belongs to a run of its own`, "start a run: for an earlier run only gauging, or repeat and gauging, can be done")
	}
	run, err := d.shelf.Load(id)
	if err != nil {
		return nil, err
	}
	switch {
	case run.Ended == nil:
		return nil, api.Errorf(409, "wrong-state", "wait until it has ended; it asks by itself whether more is to be gauged", "start a run: run %s goes on", id)
	case run.For != "":
		return nil, api.Errorf(409, "not-first", "name run "+run.For, "start a run: run %s was itself made for an earlier one", id)
	case len(run.Gaugings) == 0 || run.Proof != nil:
		return nil, api.Errorf(409, "no-gauging", "name a run with readings, or measure the whole job", "start a run: run %s has no readings to add to", id)
	}
	if why := analysis.Joinable(run, now); why != nil {
		return nil, api.Errorf(409, why.Code, why.Hint, "start a run: %s", why.Text)
	}
	if f, failed := d.shelf.Judge(run).Verdict.Stability.Failed(); failed {
		return nil, api.Errorf(409, "nothing-known", f.Next, "start a run: of its nozzle error run %s tells nothing: %s", id, f.Sentence)
	}
	if analysis.Places(analysis.Joining(run).Gaps) < 2 {
		return nil, api.Errorf(409, "nothing-known", "measure the whole job again", "start a run: of its nozzle error run %s tells nothing, with fewer than two places gauged", id)
	}
	return probe.NewEarlier(run, now, p), nil
}

// planOf is how much the run measures.
func (d *Runner) planOf(a *active) probe.Plan {
	p := d.plan(a.quick)
	p.Earlier = a.earlier
	return p
}

// joinTries is how often the earlier run is looked at anew while something else is
// added to it.
const joinTries = 5

// joinEarlier keeps the gaugings of a run that has ended with the run that it was made
// for, once. A run that failed in a way that puts its records in doubt, or gauged fewer
// than two places, tells it nothing, unless it met what calls for a repair.
func (d *Runner) joinEarlier(ctx context.Context, run record.Run) error {
	if run.For == "" || steady.Unsound(run) != nil {
		return nil
	}
	j := analysis.Joining(run)
	if analysis.Places(j.Gaps) < 2 && j.Cut == nil {
		return nil
	}
	var err error
	for range joinTries {
		if err = d.keepJoined(ctx, run.For, j); !errors.Is(err, store.ErrOrder) {
			break
		}
	}
	if errors.Is(err, store.ErrNone) {
		return nil // the earlier run is not kept any more
	}
	return err
}

func (d *Runner) keepJoined(ctx context.Context, id string, j record.Joined) error {
	earlier, err := d.o.Store.Load(ctx, id)
	if err != nil || earlier.Has(j.Run) {
		return err
	}
	text := fmt.Sprintf("%d readings at the gauge of the later run %s were joined", len(j.Gaps), j.Run)
	return d.addBehind(ctx, earlier, "abbed", "join a later run", []record.Event{{Joined: &j}, {Note: &record.Note{Text: text}}},
		fmt.Sprintf("run %s, %d records of run %s", id, len(j.Gaps), j.Run))
}

// joinLeft joins what an earlier daemon did not come to join: it was killed in the
// middle of a later run, or between its end and that.
func (d *Runner) joinLeft(ctx context.Context, rows []store.RunRow) {
	for _, row := range rows {
		if row.For == "" {
			continue
		}
		if earlier, err := d.o.Store.Load(ctx, row.For); err != nil || earlier.Has(row.ID) {
			continue // it is not kept any more, or cannot be read; or all is well
		}
		run, err := d.o.Store.Load(ctx, row.ID)
		if err == nil {
			err = d.joinEarlier(ctx, run)
		}
		if err != nil {
			d.o.Log.Error("the readings of a later run cannot be kept with the earlier one", "run", row.For, "later", row.ID, "err", err)
		}
	}
}
