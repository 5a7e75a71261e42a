package probe

import (
	"context"
	"math"

	"abbed/gcode"
)

// finer looks for a finer height than the 0.01 mm to which many printers report
// a touch. It is there only for a machine that probes straight: that one stands
// still where the probe stopped it, and its position report says where, in three
// decimals or in motor steps. A printer with a touch word of its own has raised
// the head again before it answers, so its position says nothing of the contact;
// there the step of the report stays in the uncertainty (a/sqrt(12)).
//
// Steps are turned into mm by what the printer itself says of two heights, the
// first contact and the clearance height above it, at one place with the stored
// levelling off: over h mm that is known to 0.02 mm / h. All heights are told
// from the first contact, so that its rounding shifts all of them alike, which a
// contrast does not see. Where the stop differs from the trigger (the machine
// needs a way to stop), that is the same at each touch, or it shows in the
// scatter of the repeat test like everything else.
//
// Each finer height must agree with the coarse one to within its rounding. One
// that does not ends it: from then on the coarse ones count.
type finer struct {
	known, off bool
	z0         float64 // reported height of the first contact, mm
	s0         float64 // the same in the finer source's units
	unit       float64 // mm in one of them
	step       float64 // of the finer source, mm
}

// coarse is the step of a report that is worth refining, mm.
const coarse = 0.0099

// leastRise is the least way up over which steps are turned into mm, mm.
const leastRise = 2

// source reads the finer source of a position report; unit is 0 where it is not
// known yet.
func (h *Head) source(r gcode.Reply) (s, unit, step float64, ok bool) {
	if _, _, z, decimals, ok := h.words.ReadStop(r); ok && decimals >= 3 {
		return z, 1, math.Pow(10, -float64(decimals)), true
	}
	n, ok := h.words.ReadSteps(r)
	return float64(n), 0, 0, ok
}

// refine returns the height of a contact that was reported as z with step, by
// what the printer says of where it stands now. It may raise the head.
func (h *Head) refine(ctx context.Context, z, step float64) (float64, float64, error) {
	if h.manner.Style != StyleStraight || step < coarse || h.fine.off {
		return z, step, nil
	}
	r, err := h.settled(ctx, "ask where the probe stopped")
	if err != nil {
		return 0, 0, err
	}
	s, unit, res, ok := h.source(r)
	if !ok {
		h.fine.off = true
		return z, step, nil
	}
	if !h.fine.known {
		if err := h.learnFiner(ctx, r, s, unit, res); err != nil || h.fine.off {
			return z, step, err
		}
		h.fine.z0 = z
		return z, h.fine.step, nil
	}
	better := h.fine.z0 + (s-h.fine.s0)*h.fine.unit
	if math.Abs(better-z) > step+h.fine.step {
		h.fine.off = true
		return z, step, nil
	}
	return better, h.fine.step, nil
}

// learnFiner takes the first contact, of which the printer said at, with s in
// the finer source, and finds the unit of the source if it is not known, by
// raising to clearance.
func (h *Head) learnFiner(ctx context.Context, at gcode.Reply, s, unit, step float64) error {
	if unit == 0 {
		_, _, z, ok := h.words.ReadPosition(at)
		if !ok {
			h.fine.off = true
			return nil
		}
		if err := h.Raise(ctx); err != nil {
			return err
		}
		r, err := h.settled(ctx, "ask how many steps the way up has")
		if err != nil {
			return err
		}
		_, _, up, ok := h.words.ReadPosition(r)
		n, counted := h.words.ReadSteps(r)
		if !ok || !counted || up-z < leastRise || float64(n) == s {
			h.fine.off = true
			return nil
		}
		unit = (up - z) / (float64(n) - s)
		step = math.Abs(unit)
	}
	h.fine = finer{known: true, s0: s, unit: unit, step: step}
	return nil
}
