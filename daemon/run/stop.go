package run

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/daemon/refuse"
	"abbed/probe/record"
)

// What a stop says that sent nothing.
const (
	nothingToStop = "Nothing was sent: abbed has nothing going on at this printer. If it moves, another program or its own display moves it: use its power switch."
	otherToStop   = "Nothing was sent: what you saw has ended, and something else goes on now. Look at it, and ask again if it is to stop."
	withdrawn     = "The run that waited for its confirmation is withdrawn. Nothing was sent to the printer."
)

// Going is what a stop ends now: a run, a write of the map, the putting back, heat of
// ours; "" while nothing of that goes on. A stop belongs to it, and dies with it.
func (d *Runner) Going() string {
	if a := d.current(); a != nil && a.canStop() {
		return a.log.ID()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.corr.Busy():
		return "correction-" + d.corr.Now().Digest
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
func (d *Runner) Stop(ctx context.Context, s api.AskStop, by string) (api.StopAnswer, error) {
	going := d.Going()
	switch {
	case s.For != "" && s.For != going && d.stops.went(s.For):
		return api.StopAnswer{Requested: true, Text: api.StopSentence}, nil // asked again: the answer was lost
	case s.For != "" && s.For != going && going != "":
		d.auditStop(by, "not of "+going)
		return api.StopAnswer{Text: otherToStop}, nil
	case going == "" && !s.Anyway:
		d.auditStop(by, "nothing went on")
		return api.StopAnswer{Text: nothingToStop}, nil
	case d.waits(going) && d.Withdraw(ctx, going, by) == nil:
		return api.StopAnswer{Text: withdrawn}, nil
	}
	end := func() {}
	if a := d.current(); a != nil {
		end = a.stop()
	}
	err := d.link.StopNow()
	end()
	d.auditStop(by, going)
	d.o.Changed()
	if errors.Is(err, link.ErrNothing) {
		err = nil // the port was not opened yet, and is not any more
	}
	if err != nil {
		return api.StopAnswer{}, refuse.Of(err)
	}
	d.stops.send(going)
	return api.StopAnswer{Requested: true, Text: api.StopSentence}, nil
}

// waits reports whether a run waits for its confirmation. A stop of anything else never waits
// for what begins a run, nor for the disk.
func (d *Runner) waits(id string) bool {
	a := d.current()
	return a != nil && a.log.ID() == id && a.now() == api.AwaitingConfirmation
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
		return link.ErrStop
	}
	return why
}

// stop says that the run is to stop, whatever else it meets; end then ends it.
func (a *active) stop() (end func()) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if !a.ending && !a.state.Over() {
		a.toStop = true
		a.state, a.view.Spot, a.view.Sentence = api.Running, nil, "A stop was asked for. The run is ending."
	}
	cancel := a.cancel
	return func() { cancel(link.ErrStop) }
}

// stops counts the stop requests that came again within a minute, by who asked:
// anybody on this machine may ask, as often as they like, and each row of the log of
// changes costs the disk a write.
type stops struct {
	mu    sync.Mutex
	again map[string]int
	last  string // what the latest request that went out was for
	at    time.Time
}

// send keeps what a request that went out was for.
func (s *stops) send(what string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last, s.at = what, time.Now()
}

// went reports whether a request for what went out a moment ago: whoever asks again did
// not hear of it.
func (s *stops) went(what string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last == what && time.Since(s.at) < stopsWithin
}

const (
	stopsWithin = time.Minute
	// mostStoppers bounds them; who asks is a session, a user, or nobody known.
	mostStoppers = 128
)

// auditStop writes a stop request down, or counts it.
func (d *Runner) auditStop(by, going string) {
	d.stops.mu.Lock()
	_, again := d.stops.again[by]
	if again = again || len(d.stops.again) >= mostStoppers; again {
		d.stops.again[by]++
	} else {
		if d.stops.again == nil {
			d.stops.again = map[string]int{}
		}
		d.stops.again[by] = 0
	}
	d.stops.mu.Unlock()
	if !again {
		d.o.Audit(by, "stop", going)
	}
}

// CountStops writes down once a minute how often a stop was asked for again, until
// the context ends.
func (d *Runner) CountStops(ctx context.Context) {
	tick := time.NewTicker(stopsWithin)
	defer tick.Stop()
	for open := true; open; {
		select {
		case <-tick.C:
		case <-ctx.Done():
			open = false
		}
		d.stops.mu.Lock()
		again := d.stops.again
		d.stops.again = nil
		d.stops.mu.Unlock()
		for by, n := range again {
			if n > 0 {
				d.o.Audit(by, "stop", fmt.Sprintf("again, %d times within %.0f s", n, stopsWithin.Seconds()))
			}
		}
	}
}
