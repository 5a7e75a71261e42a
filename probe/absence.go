package probe

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"abbed/gcode/clock"
	"abbed/probe/record"
)

// patience is how long one wait for the person may still last before the machine
// stands down; it does so once in a wait.
type patience struct {
	clk  *clock.Clock
	last time.Duration
}

func (j *job) patience() *patience { return &patience{j.Clock, j.plan.Patience} }

var errPatience = errors.New("probe: no one acted")

// attend waits for the person by way of do. It returns errPatience once, when the
// patience is over; from then on it waits for as long as it takes.
func attend[T any](ctx context.Context, p *patience, do func(context.Context) (T, error)) (T, error) {
	if p.last == 0 {
		return do(ctx)
	}
	limited, cancel := p.clk.WithTimeout(ctx, p.last)
	defer cancel()
	v, err := do(limited)
	if err != nil && ctx.Err() == nil && limited.Err() != nil {
		p.last = 0
		return v, errPatience
	}
	return v, err
}

// standDown raises the nozzle and switches the heaters off when nobody has acted for
// long: whatever moves next homes first.
func (j *job) standDown(ctx context.Context) error {
	if j.head.Homed() {
		if err := j.up(ctx); err != nil {
			return err
		}
	}
	j.head.Left()
	if err := j.coolUnwatched(ctx); err != nil {
		return err
	}
	return j.note(fmt.Sprintf("no one acted for %s: the nozzle was raised, heat is off", j.plan.Patience))
}

// up raises the nozzle and switches the travel limits on again.
func (j *job) up(ctx context.Context) error {
	if err := j.head.Raise(ctx); err != nil {
		return err
	}
	return j.head.Switch(ctx, record.SwitchLimits, true)
}

// back makes the machine ready after the person has been waited for: nobody else has
// begun to use it, and where nobody was there for long it homes, as warm as before.
func (j *job) back(ctx context.Context) error {
	if err := j.stillFree(ctx); err != nil {
		return err
	}
	if !j.head.Away() {
		return nil
	}
	run := j.log.Run()
	if run.Heat != nil && run.Heat.Any() && !slices.Contains(run.Off, record.SwitchHeaters) {
		return j.warmUp(ctx)
	}
	return j.head.Home(ctx)
}
