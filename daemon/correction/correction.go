package correction

import (
	"context"
	"log/slog"
	"sync"

	"abbed/config"
	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/results"
	"abbed/daemon/store"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Options are what a Correction needs of the house.
type Options struct {
	Store  *store.Store
	Link   *link.Link
	Runs   *results.Shelf
	Words  *dialect.Dialect
	Clock  *clock.Clock
	Signer *access.Signer
	Log    *slog.Logger
	// Owner are the settings as they are in force, Known what is known of the printer.
	Owner func() config.Settings
	Known func(*link.Facts) known.Known
	// Claim has nothing else begin until release; it refuses while a run goes on, and at
	// the end of the program.
	Claim func(what string) (release func(), err error)
	// Owed is what a run switched off, PutBack switches it on again.
	Owed    func() []string
	PutBack func(by string) error
	// Ending ends with the program, GivenUp when nothing more may be waited for; Jobs is
	// what the end of the program waits for.
	Ending, GivenUp context.Context
	Jobs            *sync.WaitGroup
	Audit           func(who, what, detail string)
	Changed         func()
	// Ended is told how a step ended: apply, undo or reapply.
	Ended func(step string, success bool)
}

// Correction is what stands in the printer's bed map, and the one that changes it.
type Correction struct {
	o Options

	mu       sync.Mutex
	applied  store.Applied
	progress api.Progress
	busy     bool // an apply, undo or resolve is going on
	// refused counts the refusals of a re-apply by their code.
	refused map[string]uint64
}

// New returns a Correction that knows nothing until Recover.
func New(o Options) *Correction { return &Correction{o: o} }

// Now is the last entry of the journal.
func (d *Correction) Now() store.Applied {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.applied
}

// Refused counts the refusals of a re-apply by their code; nobody changes it.
func (d *Correction) Refused() map[string]uint64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.refused
}

// Learn takes what a run that has ended says of the correction.
func (d *Correction) Learn(run record.Run) {
	d.learnMap(run)
	d.learnTwist(run)
	d.LearnLater()
	if run.Ended != nil && run.Ended.State == record.EndDone {
		d.learnProof(run)
	}
}

// Expiry is the short name of why the correction no longer holds, "" if it does.
func (d *Correction) Expiry() string { return expiryOf(d.expiry(d.Now())) }

// Busy reports whether a change of the map goes on.
func (d *Correction) Busy() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.busy
}

// Unfinished reports whether a change of the map was begun and is neither ended nor going on.
func (d *Correction) Unfinished() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return !d.busy && d.applied.State.Open()
}

// failedHalf reports whether a write failed half way, so that the old map can still be
// written back.
func (d *Correction) failedHalf() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return !d.busy && d.applied.State == store.Failed && d.applied.Half()
}

// InForce is the correction of ours that stands in the printer's map, or nil.
func (d *Correction) InForce() *record.Applied {
	a := d.Now()
	if a.State != store.Kept || d.foreign(a) {
		return nil
	}
	c := a.Correction()
	return &c
}
