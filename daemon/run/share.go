package run

import (
	"context"
	"time"

	"abbed/gcode"
	"abbed/probe"
)

// timed is a Dialogue that measures how long the printer is busy with each
// command, and how long it then waits for the next: the host's share of a run.
// Waiting for a person counts for neither, nor do homing and what comes before
// it.
type timed struct {
	line         probe.Dialogue
	now          func() time.Time
	at           time.Time // when the last command was answered; zero: nothing waits for us
	began        bool      // the run shows that it is past its preparation
	busy, waited time.Duration
}

// Ask implements probe.Dialogue.
func (t *timed) Ask(ctx context.Context, q gcode.Query) (gcode.Reply, error) {
	from := t.told()
	r, err := t.line.Ask(ctx, q)
	t.answered(from)
	return r, err
}

// Move implements probe.Dialogue.
func (t *timed) Move(ctx context.Context, m gcode.Motion) (gcode.Reply, error) {
	from := t.told()
	r, err := t.line.Move(ctx, m)
	t.answered(from)
	return r, err
}

func (t *timed) told() time.Time {
	now := t.now()
	if t.began && !t.at.IsZero() {
		t.waited += now.Sub(t.at)
	}
	return now
}

func (t *timed) answered(from time.Time) {
	t.at = t.now()
	if t.began {
		t.busy += t.at.Sub(from)
	}
}

// show is told where the run stands: the printer does not wait for the host
// while a person is waited for.
func (t *timed) show(v probe.View) {
	t.began = t.began || v.Homed
	if v.Phase != probe.PhaseWorking {
		t.at = time.Time{}
	}
}

// noteShare keeps what a run measured of the host's share.
func (d *Runner) noteShare(t *timed) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.counted.Busy += t.busy.Seconds()
	d.counted.Waited += t.waited.Seconds()
	if t.busy > 0 {
		s := t.waited.Seconds() / t.busy.Seconds()
		d.share = &s
	}
}
