package run

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"abbed/analysis"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/correction"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/results"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Options are what a Runner needs of the house.
type Options struct {
	Store *store.Store
	Words *dialect.Dialect
	Clock *clock.Clock
	Log   *slog.Logger
	// Owner are the settings as they are in force, Known what is known of the printer.
	Owner func() config.Settings
	Known func(*link.Facts) known.Known
	Audit func(who, what, detail string)
	// Changed says that something a front shows has changed, Publish shows it at once.
	Changed, Publish func()
	// Learned is told what a run that has ended tells; Forget that what was worked out from
	// runs is to be worked out anew.
	Learned func(analysis.Judged)
	Forget  func()
}

// Runner carries out runs on the word of a person, one at a time, and knows what a run
// switched off.
type Runner struct {
	o     Options
	link  *link.Link
	shelf *results.Shelf
	corr  *correction.Correction

	base  context.Context // of every run; ends with the program
	abort context.CancelCauseFunc
	// writing is of what changes the printer's map: it outlives the end of the program
	// by lastWords, after which giveUp ends it.
	writing context.Context
	giveUp  context.CancelCauseFunc
	jobs    sync.WaitGroup
	// asked holds one token: the printer said the line that requests a run.
	asked chan struct{}

	starting sync.Mutex // one start or confirmation at a time

	mu     sync.Mutex
	active *active
	// puttingBack: what is owed is being put back. ending: nothing more begins.
	puttingBack, ending bool
	owing               []string
	last                map[string]status.Last
	counted             status.Counters
	share               *float64 // of the host, in the latest run
	calendar            calendar
	stops               stops
	heard               atomic.Pointer[heat]
}

// New returns a runner that does nothing until Join.
func New(ctx context.Context, o Options) *Runner {
	d := &Runner{o: o, asked: make(chan struct{}, 1), last: map[string]status.Last{}}
	d.base, d.abort = context.WithCancelCause(context.WithoutCancel(ctx))
	d.writing, d.giveUp = context.WithCancelCause(context.WithoutCancel(ctx))
	return d
}

// Join gives the runner the printer, the runs that are kept, and the bed map's owner.
func (d *Runner) Join(l *link.Link, s *results.Shelf, c *correction.Correction) {
	d.link, d.shelf, d.corr = l, s, c
}

// Change is what a Correction needs of the one that carries out the runs.
func (d *Runner) Change(o *correction.Options) {
	o.Claim, o.Owed, o.PutBack, o.Ending, o.GivenUp, o.Jobs, o.Ended = d.claim, d.Owed, d.putBack, d.base, d.writing, &d.jobs, d.StepEnded
}

// GoingOn is the run that goes on, if it is this one: what was read after its end is in
// the store only.
func (d *Runner) GoingOn(id string) (record.Run, bool) {
	if a := d.current(); a != nil && a.log.ID() == id && !a.now().Over() {
		return a.log.Run(), true
	}
	return record.Run{}, false
}

func (d *Runner) ShownNow(id string) (api.Run, bool) {
	if a := d.current(); a != nil && a.log.ID() == id {
		return a.show(), true
	}
	return api.Run{}, false
}

func (d *Runner) current() *active {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.active
}

// lastWords is how long what goes on may take to end with the program, real time: a head
// that is raised, or a change of the printer's map, at most half of its nodes, forth or
// back (some thirty at half a second each); 20 s in all for whoever waits (the project's
// design). What of a change is not done by then stays open in the journal.
const lastWords = 15 * time.Second

// Close ends the run in hand and waits for every job. Where the printer does not
// answer in time its line is closed: what could not be put back is then owed, and a
// change of the map stays open in the journal.
func (d *Runner) Close() {
	d.mu.Lock()
	d.ending = true
	d.mu.Unlock()
	d.abort(link.ErrClosing)
	defer time.AfterFunc(lastWords, func() { d.giveUp(link.ErrClosing); d.link.Cut() }).Stop()
	d.starting.Lock() // what is being begun has begun
	if a := d.current(); a != nil && a.now() == api.AwaitingConfirmation {
		d.finish(a, link.ErrClosing)
	}
	d.starting.Unlock()
	d.jobs.Wait()
}

// Hold has nothing begin until release.
func (d *Runner) Hold() (release func()) {
	d.starting.Lock()
	return d.starting.Unlock
}

// claim has nothing else begin until release; whoever waits for a person gives way.
func (d *Runner) claim(what string) (release func(), err error) {
	d.starting.Lock()
	if d.closing() {
		err = errEnding
	} else if d.giveWay(); d.Running() {
		err = api.Errorf(409, "run-active", "finish the run, or stop it", "%s: a run is active", what)
	}
	if err != nil {
		d.starting.Unlock()
		return nil, err
	}
	return d.starting.Unlock, nil
}

// closing reports whether the program is ending: nothing more begins then.
func (d *Runner) closing() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ending
}

// errEnding is why nothing begins while the program ends.
var errEnding = api.Errorf(503, "interrupted", "start abbed again; what was measured is kept", "abbed is ending")
