package daemon

import (
	"context"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"abbed/config"
	"abbed/daemon/access"
	"abbed/daemon/correction"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/results"
	"abbed/daemon/run"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/gcode/port"
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
	*run.Runner                                            // runs, and the person
	settings               atomic.Pointer[config.Settings] // what the owner set; replaced by Renew
	store                  *store.Store
	log                    *slog.Logger
	build                  status.Build
	board                  *status.Board
	link                   *link.Link
	notice                 string

	dirty chan struct{}

	mu       sync.Mutex
	kept     status.Kept
	told     told
	inPrint  inPrint
	movement movement
	asking   map[string]bool // what a person was last asked to do, by name
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
		store: o.Store, log: o.Log, build: o.Build, notice: o.Notice, board: status.New(), dirty: make(chan struct{}, 1),
	}
	d.settings.Store(&o.Settings)
	d.Runner = run.New(ctx, run.Options{
		Store: o.Store, Words: words, Clock: o.Clock, Log: o.Log, Owner: d.owner, Known: d.know,
		Audit: d.audit, Changed: d.changed, Publish: d.publish, Learned: d.learnRun, Forget: d.forget,
	})
	lo := linkOptions(o, words)
	lo.Session.OnUnasked = d.Hear
	d.link = link.New(lo, d.linkChanged)
	d.Shelf = results.New(o.Store, o.Log, results.Now{Run: d.GoingOn, Shown: d.ShownNow, Printer: d.here, Owner: d.owner, InForce: func() bool { return d.InForce() != nil }})
	changes := correction.Options{
		Store: o.Store, Link: d.link, Runs: d.Shelf, Words: words, Clock: o.Clock, Signer: o.Signer, Log: o.Log,
		Owner: d.owner, Known: d.know, Audit: d.audit, Changed: d.changed,
	}
	d.Runner.Change(&changes)
	d.Correction = correction.New(changes)
	d.Runner.Join(d.link, d.Shelf, d.Correction)
	if err := d.Runner.Recover(ctx); err != nil {
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
	own.Go(func() { d.Requests(ctx) })
	own.Go(func() { d.retaining(linkCtx) })
	own.Go(func() { d.CountStops(linkCtx) })
	own.Go(func() { d.recall(linkCtx); d.KeepCalendar(ctx) })
	<-ctx.Done()
	d.Runner.Close()
	endLink()
	own.Wait()
}

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
		d.CheckOwed()
		d.CheckHeld()
		d.KeepReport()
	}
	d.changed()
}

// Board returns where snapshots are published.
func (d *Daemon) Board() *status.Board { return d.board }

// Changed returns a channel that is closed when anything has changed.
func (d *Daemon) Changed() <-chan struct{} { return d.board.Changed() }

// here is the identity of the printer that answered, "" without one.
func (d *Daemon) here() string {
	if f := d.link.Now().Facts; f != nil {
		return f.Identity.ID
	}
	return ""
}

func (d *Daemon) audit(who, what, detail string) {
	if err := d.store.Audit(context.Background(), who, what, detail, time.Now()); err != nil {
		d.log.Error("the log of changes takes nothing more", "who", who, "what", what, "err", err)
	}
	d.log.Info(what, "who", who, "detail", detail)
}
