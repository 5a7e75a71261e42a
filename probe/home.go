package probe

import (
	"context"
	"math"
	"time"

	"abbed/gcode"
	"abbed/probe/record"
)

// atOnce is how quickly no machine homes: at least the probe goes down to the bed
// and up again (common practice, no source).
const atOnce = time.Second

// proofRise is how far the head goes up to see whether a homing is done, mm:
// many times what levelling or a coarse report change of a height.
const proofRise = 2.0

// Home finds the machine's own zero, then raises to the clearance height, with the
// travel limits on. A homing may switch the levelling: what was wanted is asserted
// anew.
//
// A printer may refuse to home with a sentence and an ok like any other, and no
// wording tells it. So the position tells it: a homing that changed it, or took
// its time, was one. One that was answered at once and left the head where it was
// is looked at: the head goes up 2 mm or more, and after homing once more it must
// be back. And wherever a homed head is raised, it must say so.
func (h *Head) Home(ctx context.Context) error {
	if err := h.Switch(ctx, record.SwitchLimits, true); err != nil {
		return err
	}
	if h.levelling != nil { // until it is asserted, how it stands is not known
		if err := h.keepSwitch(record.SwitchLevelling, !h.setup.Levelling); err != nil {
			return err
		}
	}
	if err := h.home(ctx); err != nil {
		return err
	}
	h.away = false
	if h.levelling == nil {
		return nil
	}
	return h.level(ctx)
}

func (h *Head) home(ctx context.Context) error {
	h.homed, h.fine = false, finer{}
	if _, err := h.line.Ask(ctx, h.words.Absolute()); err != nil {
		return fault(err, "failed", "see what the printer says", "home: set absolute coordinates")
	}
	before, known := h.stands(ctx)
	said, quick, err := h.orderHome(ctx)
	if err != nil {
		return err
	}
	if said.OK.Kind == gcode.Empty { // a line may be counted and not done
		return notHomed("the printer's ok was lost, and nothing else says that it homed")
	}
	if quick && known && h.is(before) {
		if err := h.proveHomed(ctx, said); err != nil {
			return err
		}
	}
	h.homed = true
	h.homings++
	if err := h.raiseSeen(ctx, h.setup.Clearance); err != nil {
		h.homed = false
		return err
	}
	return nil
}

// stands is where the printer says that the head stands, if it does.
func (h *Head) stands(ctx context.Context) (at [3]float64, ok bool) {
	r, err := h.line.Ask(ctx, h.words.Where())
	if err != nil {
		return at, false
	}
	at[0], at[1], at[2], ok = h.words.ReadPosition(r)
	return at, ok
}

// is reports whether the head stands where it stood.
func (h *Head) is(at [3]float64) bool {
	return max(math.Abs(h.at.X-at[0]), math.Abs(h.at.Y-at[1]), math.Abs(h.z-at[2])) <= slip
}

// orderHome orders the homing and takes the position after it.
func (h *Head) orderHome(ctx context.Context) (r gcode.Reply, quick bool, err error) {
	began := h.now()
	if r, err = h.move(ctx, h.words.Home(), "home"); err != nil {
		return r, false, err
	}
	if err := h.believe(ctx); err != nil {
		return r, false, err
	}
	return r, h.now().Sub(began) < atOnce, nil
}

func (h *Head) now() time.Time {
	if h.manner.Clock == nil {
		return time.Time{}
	}
	return h.manner.Clock.Now()
}

// proveHomed goes up, and homes once more: a machine that homes comes back.
func (h *Head) proveHomed(ctx context.Context, answer gcode.Reply) error {
	low := h.z
	up := max(h.setup.Clearance, low+proofRise)
	if top := h.setup.Travel.Z1; top > low+proofRise {
		up = min(up, top)
	}
	if err := h.raiseSeen(ctx, up); err != nil {
		return err
	}
	x, y := h.at.X, h.at.Y
	if _, _, err := h.orderHome(ctx); err != nil {
		return err
	}
	if math.Abs(h.z-up) < proofRise/2 && max(math.Abs(h.at.X-x), math.Abs(h.at.Y-y)) <= slip {
		return notHomed("after homing the head stands where it stood before, twice; the printer answered %q", said(answer))
	}
	return nil
}

// raiseSeen raises to z, if the head may be lower, and looks whether it came
// there. Levelling that is on, and a coarse report, may change the height by less
// than half a millimetre.
func (h *Head) raiseSeen(ctx context.Context, z float64) error {
	if h.z >= z-0.005 {
		return nil
	}
	for try := 0; ; try++ {
		r, err := h.move(ctx, h.words.MoveZ(z, h.manner.Feeds.Z), "raise")
		if err != nil {
			return err
		}
		if err := h.believe(ctx); err != nil {
			return err
		}
		if math.Abs(h.z-z) <= levelled {
			return nil
		}
		if try > 0 || r.OK.Kind != gcode.Empty { // a line may be counted and not done: once more
			return notHomed("the head was to go up to %.2f mm, and is at %.2f mm", z, h.z)
		}
	}
}

func notHomed(text string, args ...any) *record.Problem {
	return fault(nil, "not-homed",
		"see what the printer's display says: home it there, look at its end switches and probe, then start a new run",
		"home: "+text, args...)
}
