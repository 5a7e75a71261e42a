package probe

import (
	"context"
	"fmt"
	"math"
	"time"

	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
)

// stillness is how long the position is watched for moving by itself.
const stillness = time.Second

// ForeignUse returns a Refused with code foreign-use if the printer is in use by
// somebody else: a print that runs from its own storage, a heater target that we
// did not set, a position that changes by itself. What the printer does not
// answer is not held against it. It moves nothing.
func ForeignUse(ctx context.Context, line Dialogue, words *dialect.Dialect, clk *clock.Clock) error {
	ask := func(q gcode.Query) (gcode.Reply, error) {
		r, err := line.Ask(ctx, q)
		if err != nil {
			return r, fault(err, "failed", hintOf(err), "look whether the printer is in use")
		}
		return r, nil
	}
	if err := inUse(ctx, ask, words, clk); err != nil {
		return err
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

// inUse looks for a print and for heat.
func inUse(ctx context.Context, ask func(gcode.Query) (gcode.Reply, error), words *dialect.Dialect, clk *clock.Clock) error {
	if busy, err := printing(ctx, ask, words, clk); err != nil || busy {
		if err == nil {
			err = foreign("a print is running from the printer's own storage")
		}
		return err
	}
	return noHeat(ask, words)
}

// noHeat returns a Refused if heat is on that we did not ask for.
func noHeat(ask func(gcode.Query) (gcode.Reply, error), words *dialect.Dialect) error {
	r, err := ask(words.Temperatures())
	if err != nil {
		return err
	}
	if t, ok := words.ReadTemperatures(r); ok && (t.NozzleTarget > 0 || t.BedTarget > 0) {
		return foreign(fmt.Sprintf("heat is on that abbed did not ask for: nozzle %.0f C, bed %.0f C", t.NozzleTarget, t.BedTarget))
	}
	return nil
}

// stillFree looks in the middle of a run whether somebody else has begun to use
// the printer: before each pass, gauging place and row of the survey.
func (j *job) stillFree(ctx context.Context) error {
	return inUse(ctx, func(q gcode.Query) (gcode.Reply, error) {
		return j.head.ask(ctx, q, "look whether the printer is in use")
	}, j.Words, j.Clock)
}

// printing reports whether the printer says, each time of three, that a print
// runs: a line that nobody asked for may hold two numbers as well.
func printing(ctx context.Context, ask func(gcode.Query) (gcode.Reply, error), words *dialect.Dialect, clk *clock.Clock) (bool, error) {
	for k := range 3 {
		if k > 0 {
			if err := clk.Sleep(ctx, stillness); err != nil {
				return false, err
			}
		}
		r, err := ask(words.Printing())
		if err != nil {
			return false, err
		}
		if busy, ok := words.ReadPrinting(r); !ok || !busy {
			return false, nil
		}
	}
	return true, nil
}

func foreign(what string) *Refused {
	return refuse("foreign-use", "let that end, or switch it off at the printer, then start again",
		"the printer is in use by somebody else: %s", what)
}
