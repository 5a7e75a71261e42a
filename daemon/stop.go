package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"abbed/daemon/api"
	"abbed/probe/record"
)

// Stop sends the stop request at once and ends what is going on. Where nothing of
// this program goes on, a request that reaches nobody is dropped, and that is no
// error: it fails only if it could not reach what it should have stopped.
func (d *Daemon) Stop(_ context.Context, by string) (api.StopAnswer, error) {
	err := d.link.StopNow()
	going, hot := d.applying(), slices.Contains(d.owed(), string(record.SwitchHeaters))
	a, ended := d.current(), false
	if a != nil {
		a.mu.Lock()
		cancel, waiting := a.cancel, a.state == api.AwaitingConfirmation
		if !waiting && !a.state.Over() {
			going = true
			a.state, a.view.Spot, a.view.Sentence = api.Running, nil, "A stop was asked for; the run is ending."
		}
		a.mu.Unlock()
		cancel(errStop)
		if waiting {
			d.starting.Lock()
			if a.now() == api.AwaitingConfirmation {
				d.finish(a, errStop)
				ended = true
			}
			d.starting.Unlock()
		}
	}
	d.auditStop(by)
	if err == nil || going || ended {
		d.changed()
	}
	switch {
	case err == nil:
		return api.StopAnswer{Requested: true}, nil
	case hot, going && !errors.Is(err, errNothing):
		return api.StopAnswer{}, refusal(err)
	case ended, going:
		return api.StopAnswer{Text: "What abbed was about to do is ended. Nothing was sent to the printer: abbed has no link to it now."}, nil
	}
	return api.StopAnswer{Text: "Nothing was sent to the printer: nothing of abbed runs, and abbed has no link to it now. What moves there is stopped by the printer's power switch."}, nil
}

// stops counts the stop requests that came again within a minute, by who asked:
// anybody on this machine may ask, as often as they like, and each row of the log of
// changes costs the disk a write.
type stops struct {
	mu    sync.Mutex
	again map[string]int
}

const (
	stopsWithin = time.Minute
	// mostStoppers bounds them; who asks is a session, a user, or nobody known.
	mostStoppers = 128
)

// auditStop writes a stop request down, or counts it.
func (d *Daemon) auditStop(by string) {
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
		d.audit(by, "stop", "")
	}
}

// countStops writes down once a minute how often a stop was asked for again, until
// the context ends.
func (d *Daemon) countStops(ctx context.Context) {
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
				d.audit(by, "stop", fmt.Sprintf("again, %d times within %.0f s", n, stopsWithin.Seconds()))
			}
		}
	}
}
