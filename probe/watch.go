package probe

import (
	"context"
	"fmt"
	"math"
	"time"

	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// stillness is how long the position is watched for moving by itself.
const stillness = time.Second

// ForeignUse returns a refusal with code foreign-use if the printer is in use by
// somebody else: a print that runs from its own storage, a heater target that we
// did not set, a position that changes by itself. What the printer does not
// answer is not held against it. It moves nothing. With ours, heat that an earlier
// run of ours left on is not held against it either.
func ForeignUse(ctx context.Context, line Dialogue, words *dialect.Dialect, clk *clock.Clock, ours bool) error {
	ask := func(q gcode.Query) (gcode.Reply, error) {
		r, err := line.Ask(ctx, q)
		if err != nil {
			return r, lineFault(err, "look whether the printer is in use")
		}
		return r, nil
	}
	if err := printingNow(ctx, ask, words, clk); err != nil {
		return err
	}
	if !ours {
		if err := noHeat(ask, words, record.Heat{}); err != nil {
			return err
		}
	}
	before, err := ask(words.Where())
	if err != nil {
		return err
	}
	if err := clk.Sleep(ctx, stillness); err != nil {
		return err
	}
	after, err := ask(words.Where())
	if err != nil {
		return err
	}
	x0, y0, z0, ok0 := words.ReadPosition(before)
	x1, y1, z1, ok1 := words.ReadPosition(after)
	if ok0 && ok1 && max(math.Abs(x1-x0), math.Abs(y1-y0), math.Abs(z1-z0)) > slip {
		return foreign("the position changes by itself")
	}
	return nil
}

// noHeat returns a refusal if heat is on that we did not ask for, or if what we
// heat has cooled.
func noHeat(ask func(gcode.Query) (gcode.Reply, error), words *dialect.Dialect, ours record.Heat) error {
	r, err := ask(words.Temperatures())
	if err != nil {
		return err
	}
	t, ok := words.ReadTemperatures(r)
	if !ok {
		return nil
	}
	other := func(target, ours float64) bool { return target > 0 && math.Abs(target-ours) > 0.5 }
	if other(t.NozzleTarget, ours.Nozzle) || other(t.BedTarget, ours.Bed) {
		return foreign(fmt.Sprintf("heat is on that abbed did not ask for: nozzle %.0f °C, bed %.0f °C", t.NozzleTarget, t.BedTarget))
	}
	cooled := func(is, ours float64) bool { return ours > 0 && is < ours-fallen }
	if cooled(t.Nozzle, ours.Nozzle) || cooled(t.Bed, ours.Bed) {
		return fault(nil, "heat-lost", "look at the printer: was the heat switched off there, or is a heater loose? Then start again",
			"keep warm: nozzle %.0f °C, bed %.0f °C, where %s was asked for", t.Nozzle, t.Bed, heats(ours))
	}
	return nil
}

// stillFree looks in the middle of a run whether somebody else has begun to use
// the printer: before each pass, gauging place and row of the survey.
func (j *job) stillFree(ctx context.Context) error {
	if err := printingNow(ctx, j.asker(ctx), j.Words, j.Clock); err != nil {
		return err
	}
	return noHeat(j.asker(ctx), j.Words, j.ours())
}

// asker asks on behalf of the watch.
func (j *job) asker(ctx context.Context) func(gcode.Query) (gcode.Reply, error) {
	return func(q gcode.Query) (gcode.Reply, error) {
		return j.head.ask(ctx, q, "look whether the printer is in use")
	}
}

// printingNow returns a refusal if the printer says, each time of three, that a print
// runs: a line that nobody asked for may hold two numbers as well.
func printingNow(ctx context.Context, ask func(gcode.Query) (gcode.Reply, error), words *dialect.Dialect, clk *clock.Clock) error {
	for k := range 3 {
		if k > 0 {
			if err := clk.Sleep(ctx, stillness); err != nil {
				return err
			}
		}
		r, err := ask(words.Printing())
		if err != nil {
			return err
		}
		if busy, ok := words.ReadPrinting(r); !ok || !busy {
			return nil
		}
	}
	return foreign("a print is running from the printer's own storage")
}

func foreign(what string) *record.Problem {
	return refuse("foreign-use", "let that end, or switch it off at the printer, then start again",
		"the printer is in use by someone else: %s", what)
}
