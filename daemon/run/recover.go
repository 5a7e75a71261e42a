package run

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"abbed/daemon/store"
	"abbed/probe/record"
)

// Recover reads what an earlier daemon left: runs that it did not end, what is
// Owed to the printer, what is applied or half applied.
func (d *Runner) Recover(ctx context.Context) error {
	rows, err := d.o.Store.Runs(ctx)
	if err != nil {
		return fmt.Errorf("run: read the runs: %w", err)
	}
	for _, row := range slices.Backward(rows) { // the earliest first
		d.shelf.NoteFor(row.ID, row.For)
	}
	for _, row := range rows {
		if row.State == "" {
			if err := d.bury(ctx, row); err != nil {
				d.o.Log.Error("a run cannot be ended", "run", row.ID, "err", err)
			}
		}
	}
	d.joinLeft(ctx, rows)
	owed, err := d.o.Store.Owed(ctx)
	if err != nil {
		return fmt.Errorf("run: read what is owed: %w", err)
	}
	d.learnOwed(owed.Switches)
	if err := d.corr.Recover(ctx); err != nil {
		return err
	}
	d.corr.LearnLater() // of what was joined just now
	return nil
}

// bury ends a run whose program was killed, and keeps what it owed. Where one of
// its events is not what was written, it cannot be told what was switched off:
// all of it is then taken to be.
func (d *Runner) bury(ctx context.Context, row store.RunRow) error {
	events, err := d.o.Store.Events(ctx, row.ID, 0)
	if err != nil && !errors.Is(err, store.ErrDamaged) {
		return err
	}
	run, damaged := record.Run{}, err != nil
	if len(events) > 0 {
		if run, err = record.Fold(events); err != nil {
			return err
		}
	}
	if damaged {
		run.Off = []record.Switch{record.SwitchLevelling, record.SwitchLimits}
		if run.Heat != nil {
			run.Off = append(run.Off, record.SwitchHeaters)
		}
	}
	f := &record.Problem{Code: "interrupted", Text: "the program was ended, or the power failed, in the middle of the run",
		Hint: "start a new run"}
	now := time.Now().UTC()
	err = d.o.Store.Append(ctx, row.ID,
		record.Event{N: row.Last + 1, T: run.T, Wall: now, Fault: f},
		record.Event{N: row.Last + 2, T: run.T, Wall: now, Ended: &record.Ended{State: record.EndFailed, Owed: run.Off}})
	if err != nil || len(run.Off) == 0 {
		return err
	}
	was, err := d.o.Store.Owed(ctx)
	if err != nil {
		return err
	}
	for _, w := range run.Off {
		if !slices.Contains(was.Switches, w) {
			was.Switches = append(was.Switches, w)
		}
	}
	return d.o.Store.SetOwed(ctx, was.Switches, f.Text)
}
