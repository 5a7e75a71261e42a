package daemon

import (
	"context"
	"math"
	"time"

	"abbed/probe/record"
)

// keepBeside adds to the log of a run that has ended what somebody brought after it;
// make says, of the run as it stands, which events those are, and what the audit is
// told of them (what, and by whom).
func (d *Daemon) keepBeside(ctx context.Context, id, by, what string, make func(record.Run) (events []record.Event, detail string)) error {
	d.starting.Lock()
	defer d.starting.Unlock()
	run, err := d.load(id)
	if err != nil {
		return err
	}
	events, detail := make(run)
	for i := range events {
		events[i].N, events[i].Wall = run.Last+int64(i)+1, time.Now().UTC().Round(time.Microsecond)
		events[i].T = math.Max(run.T, math.Round(time.Since(run.Began).Seconds()*1e6)/1e6)
	}
	if err := d.store.Append(ctx, id, events...); err != nil {
		return storeRefusal(err)
	}
	d.mu.Lock()
	delete(d.ended, id)
	d.mu.Unlock()
	d.audit(by, what, detail)
	d.publish()
	return nil
}
