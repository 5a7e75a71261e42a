package daemon

import (
	"context"
	"io"
	"log/slog"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"abbed/config"
	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/correction"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/results"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/gcode/port"
	"abbed/probe"
	"abbed/probe/record"
)

// Options are what a Daemon needs beside its settings.
type Options struct {
	Settings config.Settings
	Store    *store.Store
	// Clock is the job's time; default clock.Real().
	Clock *clock.Clock
	// Open opens the way to the printer; default: the port of the settings.
	Open func(context.Context) (io.ReadWriteCloser, error)
	// AskFirst says that a person must allow the first opening; it is set for
	// real devices when Open is nil.
	AskFirst bool
	Signer   *access.Signer
	Log      *slog.Logger
	Build    status.Build
	// Notice is what the person should know about how the store was opened.
	Notice string
	// Trace is given every line of the dialogue; nil: nobody asks.
	Trace func(dir, line string)
}

// Daemon keeps a printer within reach and carries out runs, applies and undoes
// on the word of a person. It implements api.Desk.
type Daemon struct {
	*results.Shelf                                         // what each run tells
	*correction.Correction                                 // what stands in the bed map
	settings               atomic.Pointer[config.Settings] // what the owner set; replaced by Renew
	store                  *store.Store
	clk                    *clock.Clock
	words                  *dialect.Dialect
	signer                 *access.Signer
	log                    *slog.Logger
	build                  status.Build
	board                  *status.Board
	link                   *link.Link
	notice                 string

	base  context.Context // of every run; ends with the program
	abort context.CancelCauseFunc
	// writing is of what changes the printer's map: it outlives the end of the program
	// by lastWords, after which giveUp ends it.
	writing context.Context
	giveUp  context.CancelCauseFunc
	jobs    sync.WaitGroup
	dirty   chan struct{}
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
	kept                status.Kept
	told                told
	inPrint             inPrint
	movement            movement
	share               *float64 // of the host, in the latest run
	calendar            calendar
	stops               stops

	asking map[string]bool // what a person was last asked to do, by name

	heard atomic.Pointer[heat]
}

// New returns a daemon that has read what an earlier one left, and does nothing
// until Work.
func New(ctx context.Context, o Options) (*Daemon, error) {
	words, err := known.Words(o.Settings)
	if err != nil {
		return nil, err
	}
	if o.Clock == nil {
		o.Clock = clock.Real()
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	d := &Daemon{
		store: o.Store, clk: o.Clock, words: words, signer: o.Signer,
		log: o.Log, build: o.Build, notice: o.Notice, board: status.New(), dirty: make(chan struct{}, 1), asked: make(chan struct{}, 1),
		last: map[string]status.Last{},
	}
	d.settings.Store(&o.Settings)
	d.base, d.abort = context.WithCancelCause(context.WithoutCancel(ctx))
	d.writing, d.giveUp = context.WithCancelCause(context.WithoutCancel(ctx))
	lo := linkOptions(o, words)
	lo.Session.OnUnasked = d.hear
	d.link = link.New(lo, d.linkChanged)
	d.Shelf = results.New(o.Store, o.Log, results.Now{Run: d.goingOn, Shown: d.shownNow, Printer: d.here, Owner: d.owner})
	d.Correction = correction.New(correction.Options{
		Store: o.Store, Link: d.link, Runs: d.Shelf, Words: words, Clock: o.Clock, Signer: o.Signer, Log: o.Log,
		Owner: d.owner, Known: d.know, Claim: d.claim, Owed: d.owed, PutBack: d.putBack, Ending: d.base, GivenUp: d.writing, Jobs: &d.jobs,
		Audit: d.audit, Changed: d.changed, Ended: d.stepEnded,
	})
	if err := d.recover(ctx); err != nil {
		return nil, err
	}
	d.keepSettings()
	d.publish()
	return d, nil
}

func linkOptions(o Options, words *dialect.Dialect) link.Options {
	open, ask := o.Open, o.AskFirst
	if open == nil {
		spec := port.Spec{Baud: o.Settings.Baud, DTR: dtr(o.Settings.DTR)}
		finder := port.NewFinder(o.Settings.Port)
		open = func(ctx context.Context) (io.ReadWriteCloser, error) {
			spec.Name = finder.Find()
			return port.Open(ctx, spec)
		}
		ask = port.Kind(o.Settings.Port) == port.Device
	}
	errand := func(name, text string) link.Errand {
		return link.Errand{Name: name, Text: text, Limit: o.Settings.CommandLimit, Log: o.Log}
	}
	return link.Options{
		Name: o.Settings.Port, Open: open, Ask: ask, Rest: rests(o.Settings, ask), Words: words, Clock: o.Clock, Log: o.Log,
		Before: errand("before", o.Settings.Before), After: errand("after", o.Settings.After),
		Session: gcode.Options{Clock: o.Clock, Silence: o.Settings.Silence, Log: o.Trace},
	}
}

// rests reports whether the port is given back between jobs: by default a
// device is, since another program usually owns it (design: take it only for a
// run), and a pseudo-terminal or a network address is not.
func rests(s config.Settings, device bool) bool {
	return s.Hold == config.HoldRun || s.Hold != config.HoldAlways && device
}

func dtr(s string) port.Level {
	switch s {
	case config.DTROn:
		return port.High
	case config.DTROff:
		return port.Low
	}
	return port.Leave
}

// Work keeps the link and publishes what changes, until the context ends. Then it
// ends what is going on (the nozzle is raised and switches are put back while
// the printer answers), and returns.
func (d *Daemon) Work(ctx context.Context) {
	linkCtx, endLink := context.WithCancel(context.WithoutCancel(ctx))
	var own sync.WaitGroup
	own.Go(func() { d.link.Keep(linkCtx) })
	own.Go(func() { d.publishing(linkCtx) })
	own.Go(func() { d.requests(ctx) })
	own.Go(func() { d.retaining(linkCtx) })
	own.Go(func() { d.countStops(linkCtx) })
	own.Go(func() { d.recall(linkCtx); d.keepCalendar(ctx) })
	<-ctx.Done()
	d.closeDown()
	endLink()
	own.Wait()
}

// lastWords is how long what goes on may take to end with the program, real time: a head
// that is raised, or a change of the printer's map, at most half of its nodes, forth or
// back (some thirty at half a second each); 20 s in all for whoever waits (the project's
// design). What of a change is not done by then stays open in the journal.
const lastWords = 15 * time.Second

// closeDown ends the run in hand and waits for every job. Where the printer does not
// answer in time its line is closed: what could not be put back is then owed, and a
// change of the map stays open in the journal.
func (d *Daemon) closeDown() {
	d.mu.Lock()
	d.ending = true
	d.mu.Unlock()
	d.abort(link.ErrClosing)
	defer time.AfterFunc(lastWords, func() { d.giveUp(link.ErrClosing); d.link.Cut() }).Stop()
	if a := d.current(); a != nil {
		d.starting.Lock()
		if a.now() == api.AwaitingConfirmation {
			d.finish(a, link.ErrClosing)
		}
		d.starting.Unlock()
	}
	d.jobs.Wait()
}

// claim has nothing else begin until release; whoever waits for a person gives way.
func (d *Daemon) claim(what string) (release func(), err error) {
	d.starting.Lock()
	if d.closing() {
		err = errEnding
	} else if d.giveWay(); d.running() {
		err = api.Errorf(409, "run-active", "finish the run, or stop it", "%s: a run is active", what)
	}
	if err != nil {
		d.starting.Unlock()
		return nil, err
	}
	return d.starting.Unlock, nil
}

// closing reports whether the program is ending: nothing more begins then.
func (d *Daemon) closing() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ending
}

// errEnding is why nothing begins while the program ends.
var errEnding = api.Errorf(503, "interrupted", "start abbed again; what was measured is kept", "abbed is ending")

// publishing publishes a new snapshot whenever something has changed.
func (d *Daemon) publishing(ctx context.Context) {
	for {
		select {
		case <-d.dirty:
			d.publish()
		case <-ctx.Done():
			return
		}
	}
}

// changed says that something a front shows has changed.
func (d *Daemon) changed() {
	select {
	case d.dirty <- struct{}{}:
	default:
	}
}

func (d *Daemon) linkChanged() {
	if d.link != nil {
		d.checkOwed()
		d.CheckHeld()
		d.KeepReport()
	}
	d.changed()
}

// Board returns where snapshots are published.
func (d *Daemon) Board() *status.Board { return d.board }

// Changed returns a channel that is closed when anything has changed.
func (d *Daemon) Changed() <-chan struct{} { return d.board.Changed() }

// goingOn is the run that goes on, if it is this one: what was read after its end is in
// the store only.
func (d *Daemon) goingOn(id string) (record.Run, bool) {
	if a := d.current(); a != nil && a.log.ID() == id && !a.now().Over() {
		return a.log.Run(), true
	}
	return record.Run{}, false
}

func (d *Daemon) shownNow(id string) (api.Run, bool) {
	if a := d.current(); a != nil && a.log.ID() == id {
		return a.show(), true
	}
	return api.Run{}, false
}

// here is the identity of the printer that answered, "" without one.
func (d *Daemon) here() string {
	if f := d.link.Now().Facts; f != nil {
		return f.Identity.ID
	}
	return ""
}

func (d *Daemon) current() *active {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.active
}

// manner is how the head is driven, by the settings.
func (d *Daemon) manner() probe.Manner {
	s := d.owner()
	// A straight probe stops at the nozzle's own height, unless the owner says
	// that the printer adds the offset.
	raw := !s.Probe.AddsOffset
	if _, said := s.Given["probe.adds_offset"]; s.Probe.Style == config.StyleStraight && !said {
		raw = true
	}
	return probe.Manner{
		Style: probe.Style(s.Probe.Style), RawHeights: raw, IdleOff: d.idleOff(), Heat: d.heatLimits(), Clock: d.clk,
		Feeds: probe.Feeds{Travel: 60 * s.Feeds.Travel, Z: 60 * s.Feeds.Z, Probe: 60 * s.Feeds.Probe},
	}
}

// idleOff is what the printer's idle switch-off of the motors is put back to, s:
// what the owner set, else what the printer said, else the default.
func (d *Daemon) idleOff() int {
	s := d.owner()
	otherwise := int(s.IdleOff / time.Second)
	if _, said := s.Given["idle_off"]; said {
		return otherwise
	}
	if f := d.link.Now().Facts; f != nil && f.IdleOff != nil && *f.IdleOff != probe.HeldOff {
		return *f.IdleOff
	}
	// A run that was cut off left it held; what the printer said before counts.
	text, _, err := d.store.Report(context.Background(), idleReport)
	if said, bad := strconv.Atoi(text); err == nil && bad == nil {
		return said
	}
	return otherwise
}

// idleReport is the name under which the printer's idle switch-off is kept.
const idleReport = "idle-off"

// hearSettings takes from the settings report with which a run begins what the idle
// switch-off is put back to: the owner may have set it since the printer was
// identified. It is kept, in case the run is cut off while it is held.
func (d *Daemon) hearSettings(settings string) int {
	said, ok := link.IdleOffIn(settings)
	if !ok || said == probe.HeldOff {
		return d.idleOff()
	}
	d.link.Learn(func(f *link.Facts) { f.IdleOff = &said })
	if err := d.store.SaveReport(context.Background(), idleReport, strconv.Itoa(said), time.Now()); err != nil {
		d.log.Error("the printer's idle switch-off cannot be kept", "err", err)
	}
	return d.idleOff()
}

// plan is how much is measured, by the settings; quick is the size of the
// calendar's check.
func (d *Daemon) plan(quick bool) probe.Plan {
	s, p := d.owner(), probe.DefaultPlan()
	p.Rounds, p.Move, p.RowHalf, p.RowStep, p.Passes = s.Repeat.Rounds, s.Repeat.Move, s.Repeat.RowHalf, s.Repeat.RowStep, s.Repeat.Passes
	p.Lean, p.Target = s.Gauging.Plan == config.PlanNormal, s.Gauging.Target
	p.Records, p.Patience = s.Gauging.Records, s.Gauging.Idle
	p.GaugeColumns, p.GaugeRows = s.Gauging.Columns, s.Gauging.Rows
	p.Columns, p.Rows, p.BaseEvery = s.Survey.Columns, s.Survey.Rows, s.Survey.BaseEvery
	p.Chosen, p.ProfileTarget, p.Finest = s.Survey.Plan == config.PlanLean && !quick, s.Survey.Target, s.Turns.WheelLeast
	if p.Chosen {
		p.Columns, p.Rows, p.BaseEvery = 0, 0, 0 // the planner chooses
	}
	if quick {
		p.Columns, p.Rows = 5, 2 // five columns show a bend, two rows tell bed from beam a little
	}
	return p
}

func (d *Daemon) audit(who, what, detail string) {
	if err := d.store.Audit(context.Background(), who, what, detail, time.Now()); err != nil {
		d.log.Error("the log of changes takes nothing more", "who", who, "what", what, "err", err)
	}
	d.log.Info(what, "who", who, "detail", detail)
}
