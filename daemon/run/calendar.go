package run

import (
	"context"
	"errors"
	"fmt"
	"time"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/daemon/refuse"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/gcode/port"
	"abbed/probe"
	"abbed/probe/record"
)

// fromCalendar is who asks for a run when a quick check is due.
const fromCalendar = "the calendar"

const (
	// lookAgain is how often the calendar is looked at.
	lookAgain = time.Minute
	// askAgain is how long after a check was asked for and came to nothing it is
	// asked for again: a person who said no is not asked each minute.
	askAgain = 24 * time.Hour
	// askedReport is the report that holds when a check was last asked for.
	askedReport = "calendar-asked"
)

// calendar is what is known of the quick check.
type calendar struct {
	checked time.Time // when a repeat test last came to its end
	shown   status.Check
}

// quickCheck are the steps of the check, as far as they can be done.
var quickCheck = []record.Step{record.StepRepeat, record.StepSurvey}

// errGaveWay is why the calendar's waiting run ends when a person wants another.
var errGaveWay = fmt.Errorf("%w: another run was asked for", link.ErrStop)

// KeepCalendar asks for a quick check whenever one is due, until the context
// ends.
func (d *Runner) KeepCalendar(ctx context.Context) {
	tick := time.NewTicker(lookAgain)
	defer tick.Stop()
	for ctx.Err() == nil {
		d.lookUp(ctx, time.Now())
		select {
		case <-tick.C:
		case <-ctx.Done():
		}
	}
}

// lookUp looks whether a check is due now, asks for it if it may, and shows why
// it waits if not.
func (d *Runner) lookUp(ctx context.Context, now time.Time) {
	d.mu.Lock()
	was := d.calendar.shown
	c := status.Check{Due: d.due(now)}
	d.mu.Unlock()
	if !c.Due.IsZero() && !now.Before(c.Due) {
		if err := d.askForCheck(ctx, now); err != nil {
			c.Waits = whyOf(err)
		} else {
			c.Waits = "a run was made for it"
		}
	}
	d.mu.Lock()
	d.calendar.shown = c
	d.mu.Unlock()
	if c != was {
		d.o.Log.Info("calendar", "due", c.Due, "waits", c.Waits)
	}
	d.o.Changed() // the board also shows what the disk has left
}

// due says when the next check is due: so long after the last, or now if there
// was none; zero without a calendar. The caller holds mu.
func (d *Runner) due(now time.Time) time.Time {
	every, was := d.o.Owner().Check.Every, d.calendar.shown.Due
	switch {
	case every == 0:
		return time.Time{}
	case !d.calendar.checked.IsZero():
		return d.calendar.checked.Add(every)
	case !was.IsZero() && was.Before(now):
		return was
	}
	return now
}

// whyOf gives the words of a refusal without its code.
func whyOf(err error) string {
	var e *api.Error
	if errors.As(err, &e) {
		return e.Text
	}
	return err.Error()
}

// askForCheck makes a run for the check that is due, or returns why it has to
// wait. It moves nothing: the run waits for a person, unless the owner's
// settings let it begin within the window while this program holds the port.
func (d *Runner) askForCheck(ctx context.Context, now time.Time) error {
	s := d.o.Owner()
	if d.waitsForPerson() {
		return errors.New("a run was made for it; it waits for a person's confirmation")
	}
	if w, err := config.ParseWindow(s.Check.Window); err != nil || !w.Has(now) {
		return fmt.Errorf("it is asked for at its time only (check.window: %s)", s.Check.Window)
	}
	_, asked, err := d.o.Store.Report(ctx, askedReport)
	if err == nil && now.Before(asked.Add(askAgain)) && !now.Before(asked) {
		return fmt.Errorf("it was asked for at %s and not done; it is asked for again a day later", asked.Local().Format("15:04"))
	}
	if err != nil && !errors.Is(err, store.ErrNone) {
		return err
	}
	if err := d.mayRun(); err != nil {
		return err
	}
	held, err := d.idle(ctx, s.Check.Below) // asks the printer: nobody waits for that
	if err != nil {
		return err
	}
	d.starting.Lock()
	defer d.starting.Unlock()
	begin := held && s.Check.Begins == config.CheckBegins && s.Check.Window != "" && !s.Check.Heat
	n := api.NewRun{Steps: d.doableOf(quickCheck), Attended: begin, Quick: true}
	if s.Check.Heat {
		n.Heat = &api.Heat{} // to what the owner has set
	}
	run, err := d.start(n, fromCalendar)
	if err != nil {
		return err
	}
	d.o.Log.Info("a check is due", "run", run.ID, "state", string(run.State))
	return d.o.Store.SaveReport(ctx, askedReport, run.ID, now)
}

// waitsForPerson reports whether the calendar's run waits for its confirmation.
func (d *Runner) waitsForPerson() bool {
	a := d.current()
	return a != nil && a.now() == api.AwaitingConfirmation && a.log.Run().By == fromCalendar
}

// giveWay ends the calendar's run if it still waits: whoever wants something
// else goes first. The caller holds starting.
func (d *Runner) giveWay() {
	if d.waitsForPerson() {
		d.finish(d.current(), errGaveWay)
	}
}

// errWithdrawn is why a run ends that nobody wanted to confirm.
var errWithdrawn = fmt.Errorf("%w: the run was withdrawn before it began", link.ErrStop)

// Withdraw ends a run that nobody has confirmed. Unlike a stop request it sends
// nothing to the printer.
func (d *Runner) Withdraw(_ context.Context, id, by string) error {
	d.starting.Lock()
	defer d.starting.Unlock()
	a := d.current()
	if a == nil || a.log.ID() != id {
		return d.notActive(id, "withdraw")
	}
	if s := a.now(); s != api.AwaitingConfirmation {
		return api.Errorf(409, "wrong-state", "a run that has begun ends by the stop request", "withdraw: the run is %s", s)
	}
	d.o.Audit(by, "withdraw a run", id)
	d.finish(a, errWithdrawn)
	return nil
}

// idle looks whether nobody uses the printer and it is cold enough. held says
// that this program has the port, and has looked at the printer itself; a port
// that was given back is not opened for it, since that may reset the board and
// end a print.
func (d *Runner) idle(ctx context.Context, below float64) (held bool, err error) {
	if d.link.Now().Link != api.Ready {
		for _, h := range port.Holders(d.o.Owner().Port) {
			return false, fmt.Errorf("%s has the port", h)
		}
		return false, nil
	}
	loan, err := d.link.LendBriefly()
	if err != nil {
		return false, err
	}
	homed := d.link.Now().Homed
	defer func() { loan.Back(homed) }()
	sess, _, err := loan.Open(ctx)
	if err != nil {
		return false, err
	}
	if err := probe.ForeignUse(ctx, sess, d.o.Words, d.o.Clock, false); err != nil {
		return false, refuse.Of(err)
	}
	r, err := sess.Ask(ctx, d.o.Words.Temperatures())
	if err != nil {
		return false, err
	}
	if t, ok := d.o.Words.ReadTemperatures(r); ok && below > 0 && max(t.Nozzle, t.Bed) > below {
		return false, fmt.Errorf("it waits until the printer is cold: nozzle %.0f, bed %.0f degrees C, at most %.0f (check.below)", t.Nozzle, t.Bed, below)
	}
	return true, nil
}

// Check says when the next quick check is due.
func (d *Runner) Check() api.Check {
	now := time.Now()
	d.mu.Lock()
	c := d.calendar
	due := d.due(now)
	d.mu.Unlock()
	out := api.Check{Every: d.o.Owner().Check.Every.Seconds(), Sentence: "No check is asked for."}
	if !c.checked.IsZero() {
		out.Last = &c.checked
	}
	if due.IsZero() {
		return out
	}
	out.Due = &due
	out.Sentence = "The next check is due on " + due.Local().Format("2 January 2006, 15:04") + "."
	if out.Waits = c.shown.Waits; now.Before(due) {
		out.Waits = ""
	}
	if out.Waits != "" {
		out.Sentence = "A check is due: " + out.Waits + "."
	}
	return out
}
