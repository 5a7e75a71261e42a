package run

import (
	"context"
	"errors"
	"fmt"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/refuse"
	"abbed/daemon/results"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/probe"
	"abbed/probe/record"
)

// StartRun opens a run that waits for a person's confirmation.
func (d *Runner) StartRun(_ context.Context, n api.NewRun, by string) (api.Run, error) {
	d.starting.Lock()
	defer d.starting.Unlock()
	d.giveWay()
	return d.start(n, by)
}

// start is StartRun; the caller holds starting.
func (d *Runner) start(n api.NewRun, by string) (api.Run, error) {
	if err := d.mayRun(); err != nil {
		return api.Run{}, err
	}
	l := d.link.Now()
	k := d.o.Known(l.Facts)
	asked, err := known.InOrder(n.Steps, known.Steps(k, l))
	if err != nil {
		return api.Run{}, err
	}
	heat, err := d.heatOf(n.Heat)
	if err != nil {
		return api.Run{}, err
	}
	var earlier *probe.Earlier
	if n.For != "" {
		if earlier, err = d.earlierOf(n.For, asked, k.Setup, d.plan(n.Quick)); err != nil {
			return api.Run{}, err
		}
	}
	a, err := d.open(record.Opened{Steps: asked, By: by, Setup: k.Setup, Heat: heat, For: n.For}, func(a *active) {
		a.quick, a.earlier = n.Quick, earlier
		a.view.Forecast = probe.Foresee(a.log.Run(), d.planOf(a))
	})
	if err != nil {
		return api.Run{}, err
	}
	d.shelf.NoteFor(a.log.ID(), n.For)
	d.o.Audit(by, "start a run", fmt.Sprint(asked))
	d.o.Changed()
	if n.Attended && d.o.Owner().AttendedStarts {
		if err := d.attended(a, by); err != nil {
			d.o.Log.Warn("the attended start waits for a confirmation", "run", a.log.ID(), "cause", err)
		}
	}
	return a.show(), nil
}

// open makes the run in hand: it waits for its confirmation.
func (d *Runner) open(o record.Opened, with func(*active)) (*active, error) {
	log, err := store.NewLog(d.o.Store, o, d.o.Clock.Now)
	if err != nil {
		return nil, refuse.Store(err)
	}
	a := newActive(log, d.o.Changed)
	with(a)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.active = a
	return a, nil
}

// attended lets a run begin by the owner's standing word (the setting
// attended_starts) and that of whoever pressed; the caller holds starting.
func (d *Runner) attended(a *active, by string) error {
	word := record.Confirmed{Person: "attended start, by " + by, Blade: d.o.Owner().Gauge}
	for _, c := range cautions(a.log.Run()) {
		word.Cautions = append(word.Cautions, c.ID)
	}
	return d.begin(a, word)
}

// mayRun returns why no run can begin now, or nil.
func (d *Runner) mayRun() error {
	if d.closing() {
		return errEnding
	}
	if a := d.current(); a != nil && !a.now().Over() {
		return api.Errorf(409, "run-active", "finish it, or stop it", "start a run: run %s is active", a.log.ID())
	}
	if err := d.link.Unready(); err != nil {
		return err
	}
	if d.corr.Busy() {
		return api.Errorf(409, "applied-busy", "wait until it has ended", "start a run: the bed map is being written")
	}
	if d.corr.Unfinished() {
		return api.Errorf(409, "owed", "Undo the correction, or finish it.",
			"start a run: a correction is half written, or its end was not seen")
	}
	if owed := d.Owed(); len(owed) > 0 {
		return api.Errorf(409, "owed", "Home the printer first: the overview has a button for it.",
			"start a run: an earlier run switched off %s and could not put it back", status.Owed(owed))
	}
	return nil
}

// Confirm takes the person's word and lets the run begin.
func (d *Runner) Confirm(ctx context.Context, id string, c api.Confirm) error {
	d.starting.Lock()
	defer d.starting.Unlock()
	a := d.current()
	if a == nil || a.log.ID() != id {
		return d.notActive(id, "confirm")
	}
	if s := a.now(); s != api.AwaitingConfirmation {
		return api.Errorf(409, "wrong-state", "look at the run", "confirm: the run is %s", s)
	}
	blade, err := checkConfirm(c, cautions(a.log.Run()))
	if err != nil {
		return err
	}
	return d.begin(a, record.Confirmed{Person: c.Person, Cautions: c.Cautions, Blade: blade, Paper: c.Paper})
}

// begin lets a run that waited begin; the caller holds starting.
func (d *Runner) begin(a *active, word record.Confirmed) error {
	loan, err := d.link.Lend()
	if err != nil {
		return err
	}
	_, err = a.log.Append(record.Event{Confirmed: &word})
	if err != nil {
		loan.Back(false)
		return refuse.Of(err)
	}
	d.o.Audit(word.Person, "confirm a run", a.log.ID())
	runCtx, cancel := context.WithCancelCause(d.base)
	a.mu.Lock()
	a.cancel = cancel
	a.mu.Unlock()
	a.step(record.StepPrepare, "Looking at the printer, then homing.")
	d.jobs.Go(func() { d.carry(runCtx, a, loan) })
	return nil
}

func checkConfirm(c api.Confirm, all []api.Caution) (blade float64, err error) {
	if m := refuse.Unconfirmed(all, c.Cautions); len(m) > 0 {
		return 0, refuse.CautionsMissing(m)
	}
	if c.Person == "" {
		return 0, api.Errorf(422, "bad-value", "say who confirms: a name, or what you are called here", "confirm: no person is named")
	}
	blade = 0.10
	if c.Gauge != nil {
		blade = *c.Gauge
	}
	if !(blade >= 0.02 && blade <= 0.30) {
		return 0, api.Errorf(422, "bad-blade", "use a feeler gauge between 0.02 mm and 0.30 mm; 0.10 mm is usual", "confirm: a feeler gauge of %.3f mm", blade)
	}
	return blade, nil
}

// carry carries a run from its confirmation to its end.
func (d *Runner) carry(ctx context.Context, a *active, loan *link.Loan) {
	homed := false
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	sess, why := d.openFor(ctx, a, loan)
	if why == nil {
		// A dead line ends the run also while it waits for the person.
		d.jobs.Go(func() {
			select {
			case <-sess.Done():
				cancel(probe.LineFault(sess.Err()))
			case <-ctx.Done():
			}
		})
		line := &timed{line: sess, now: time.Now}
		err := probe.Execute(ctx, probe.Job{
			Line: line, Words: d.o.Words, Manner: d.manner(), Log: a.log, Person: a, Clock: d.o.Clock, Plan: d.planOf(a), Heard: d.hearSettings,
			Show: func(v probe.View) { homed = v.Homed; line.show(v); a.Show(v) },
		})
		d.noteShare(line)
		why = causeOf(ctx, sess, err)
	}
	d.settle(a, why)
	loan.Back(homed && why == nil)
	d.finish(a, why)
}

// openFor opens the printer for a run, and makes sure that it is still the one
// for which the run was made.
func (d *Runner) openFor(ctx context.Context, a *active, loan *link.Loan) (*gcode.Session, error) {
	sess, facts, err := loan.Open(ctx)
	if cause := context.Cause(ctx); cause != nil {
		return nil, cause
	}
	if err != nil {
		return nil, err
	}
	was, now := a.log.Run().Setup, d.o.Known(&facts).Setup
	for _, c := range []struct {
		what  string
		other bool
	}{
		{"the printer", was.Printer.ID != now.Printer.ID},
		{"the lever", was.Lever != now.Lever},
		{"the trigger height", was.Trigger != now.Trigger || was.TriggerKnown != now.TriggerKnown},
		{"the nozzle's travel", was.Travel != now.Travel},
		{"whether the stored levelling is on", was.Levelling != now.Levelling},
	} {
		if c.other {
			return nil, api.Errorf(409, "printer-changed", "start a new run: it takes what the printer says now",
				"confirm: %s is another than when the run was made", c.what)
		}
	}
	return sess, nil
}

// causeOf returns why a run ended early: a stop request counts before whatever
// it broke.
func causeOf(ctx context.Context, sess *gcode.Session, err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(sess.Err(), gcode.ErrStopped) {
		return link.ErrStop
	}
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	return err
}

// settle keeps what the run could not put back as owed.
func (d *Runner) settle(a *active, why error) {
	off := a.log.Run().Off
	if len(off) == 0 {
		return
	}
	text := "a run ended before it could put it back"
	if why != nil {
		text = why.Error()
	}
	if err := d.o.Store.SetOwed(context.Background(), off, text); err != nil {
		d.o.Log.Error("owed cannot be kept", "err", err)
	}
	d.learnOwed(off)
}

// finish has the last events of a run kept, its analysis made, and its end
// shown.
func (d *Runner) finish(a *active, why error) {
	why = a.decide(why)
	run := a.log.Run()
	state, shownErr := record.EndDone, (*api.Error)(nil)
	switch {
	case errors.Is(why, link.ErrStop):
		state = record.EndStopped
	case why != nil:
		state = record.EndFailed
		shownErr = failure(why)
		d.append(a, record.Event{Fault: &record.Problem{Code: shownErr.Code, Text: shownErr.Text, Hint: shownErr.Hint}})
	}
	if state == record.EndDone {
		a.step(record.StepAnalysis, "Working out what was measured.")
		d.append(a, record.Event{Began: &record.Began{Step: record.StepAnalysis, Of: 1}})
	}
	d.append(a, record.Event{Ended: &record.Ended{State: state, Owed: run.Off}})
	if err := a.log.Close(); err != nil {
		d.o.Log.Error("the end of the run cannot be kept", "run", run.ID, "err", err)
	}
	if err := d.joinEarlier(context.Background(), a.log.Run()); err != nil {
		d.o.Log.Error("the readings cannot be kept with the earlier run; the next start tries again", "run", run.ID, "earlier", run.For, "err", err)
	}
	d.o.Learned(d.shelf.Judge(a.log.Run()))
	d.corr.Learn(a.log.Run())
	d.noteSteps(a.log.Run())
	a.end(api.State(state), shownErr, results.Ending(a.log.Run()))
	d.o.Log.Info("run ended", "run", run.ID, "state", string(state), "touches", len(run.Touches), "gaugings", len(run.Gaugings))
}

// failure is why a run failed, for people.
func failure(why error) *api.Error {
	if errors.Is(why, link.ErrClosing) {
		return api.Errorf(503, "interrupted", "Start a new run. What was measured is kept.", "the program was ended in the middle of the run")
	}
	return refuse.Of(why)
}

func (d *Runner) append(a *active, e record.Event) {
	if _, err := a.log.Append(e); err != nil {
		d.o.Log.Error("an event cannot be kept", "run", a.log.ID(), "err", err)
	}
}

// Gauge carries out an action at the blade and returns when its move has ended; next
// is answered at once.
func (d *Runner) Gauge(_ context.Context, id string, g api.GaugeAction) (api.Run, error) {
	a := d.current()
	if a == nil || a.log.ID() != id {
		return api.Run{}, d.notActive(id, "gauge")
	}
	if err := a.do(g); err != nil {
		return api.Run{}, refuse.Of(err)
	}
	return a.show(), nil
}

// Answer answers the prompt of the active run.
func (d *Runner) Answer(_ context.Context, id string, p api.AnswerPrompt, by string) error {
	a := d.current()
	if a == nil || a.log.ID() != id || a.now().Over() {
		return d.notActive(id, "answer")
	}
	if err := a.answer(p, by); err != nil {
		return refuse.Of(err)
	}
	d.o.Audit(by, "answer a prompt", id+" "+p.Prompt+" "+p.Answer)
	return nil
}

// notActive says why nothing can be done with a run: it is over, or not there.
func (d *Runner) notActive(id, act string) error {
	if _, err := d.shelf.Load(id); err != nil {
		return err
	}
	return api.Errorf(409, "wrong-state", "start a new run", "%s: the run %s is over", act, id)
}
