package run

import (
	"context"
	"math"
	"time"

	"abbed/daemon/refuse"
	"abbed/probe/record"
)

// keepBeside adds to the log of a run that has ended what somebody brought after it;
// make says, of the run as it stands, which events those are, and what the audit is
// told of them (what, and by whom).
func (d *Runner) keepBeside(ctx context.Context, id, by, what string, make func(record.Run) (events []record.Event, detail string)) error {
	d.starting.Lock()
	defer d.starting.Unlock()
	run, err := d.shelf.Load(id)
	if err != nil {
		return err
	}
	events, detail := make(run)
	if err := d.addBehind(ctx, run, by, what, events, detail); err != nil {
		return refuse.Store(err)
	}
	d.o.Publish()
	return nil
}

// addBehind adds events behind the end of a run, as it was read, numbers them, tells
// the audit, and works anew what was worked out from the run before. It wraps
// store.ErrOrder where something else was added since the run was read.
func (d *Runner) addBehind(ctx context.Context, run record.Run, by, what string, events []record.Event, detail string) error {
	for i := range events {
		events[i].N, events[i].Wall = run.Last+int64(i)+1, time.Now().UTC().Round(time.Microsecond)
		events[i].T = math.Max(run.T, math.Round(time.Since(run.Began).Seconds()*1e6)/1e6)
	}
	if err := d.o.Store.Append(ctx, run.ID, events...); err != nil {
		return err
	}
	d.o.Audit(by, what, detail)
	if err := d.learnAnew(ctx, run.ID); err != nil { // it is kept all the same
		d.o.Log.Error("what was added to the run is kept, and not yet in what is shown; restart", "run", run.ID, "err", err)
	}
	return nil
}

// learnAnew forgets what was worked out from a run before something was added to it.
func (d *Runner) learnAnew(ctx context.Context, id string) error {
	d.shelf.Forget(id)
	d.o.Forget()
	run, err := d.o.Store.Load(ctx, id)
	if err != nil {
		return err
	}
	d.o.Learned(d.shelf.Judge(run))
	d.o.Changed()
	return nil
}
