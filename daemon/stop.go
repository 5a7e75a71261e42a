package daemon

import (
	"context"
	"errors"
	"slices"

	"abbed/daemon/api"
	"abbed/probe/record"
)

// What a stop says that sent nothing.
const (
	nothingToStop = "Nothing was sent: abbed has nothing going on at this printer. If it moves, another program or its own display moves it: use its power switch."
	otherToStop   = "Nothing was sent: what you saw has ended, and something else goes on now. Look at it, and ask again if it is to stop."
	withdrawn     = "The run that waited for its confirmation is withdrawn. Nothing was sent to the printer."
)

// going is what a stop ends now: a run, a write of the map, the putting back, heat of
// ours; "" while nothing of that goes on. A stop belongs to it, and dies with it.
func (d *Daemon) going() string {
	if a := d.current(); a != nil && a.canStop() {
		return a.log.ID()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.busy:
		return "correction-" + d.applied.Digest
	case d.puttingBack:
		return "put-back"
	case slices.Contains(d.owing, string(record.SwitchHeaters)):
		return "heat"
	}
	return ""
}

// Stop ends what goes on. The request goes out at once, past everything else; a run
// that has moved nothing yet is withdrawn. Where nothing of ours goes on, or not what
// the asker saw, nothing is sent: it might end a print that is not ours.
func (d *Daemon) Stop(ctx context.Context, s api.AskStop, by string) (api.StopAnswer, error) {
	going := d.going()
	switch {
	case s.For != "" && s.For != going && going != "":
		return api.StopAnswer{Text: otherToStop}, nil
	case going == "" && !s.Anyway:
		return api.StopAnswer{Text: nothingToStop}, nil
	case d.Withdraw(ctx, going, by) == nil:
		return api.StopAnswer{Text: withdrawn}, nil
	}
	end := func() {}
	if a := d.current(); a != nil {
		end = a.stop()
	}
	err := d.link.StopNow()
	end()
	d.audit(by, "stop", going)
	d.changed()
	if errors.Is(err, errResting) && going != "" {
		err = nil // the port was not opened yet, and is not any more
	}
	if err != nil {
		return api.StopAnswer{}, refusal(err)
	}
	return api.StopAnswer{Requested: true, Text: api.StopSentence}, nil
}

// canStop reports whether a stop still counts.
func (a *active) canStop() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return !a.ending && !a.state.Over()
}

// decide closes the run to stops, and returns why it ends: a stop that was asked for
// counts before whatever it broke.
func (a *active) decide(why error) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.ending = true
	if a.toStop && why != nil {
		return errStop
	}
	return why
}

// stop says that the run is to stop, whatever else it meets; end then ends it.
func (a *active) stop() (end func()) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if !a.ending && !a.state.Over() {
		a.toStop = true
		a.state, a.view.Spot, a.view.Sentence = api.Running, nil, "A stop was asked for; the run is ending."
	}
	cancel := a.cancel
	return func() { cancel(errStop) }
}
