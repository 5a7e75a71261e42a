package probe

import (
	"context"
	"errors"
	"math"

	"abbed/gcode"
	"abbed/probe/record"
)

// errNotDone says that the printer counted a move, and did not make it.
var errNotDone = errors.New("the printer took the line, and did not move")

// levelled is how far a height that is reported while the stored levelling is on may
// be from the commanded one, mm: more than any map that is not itself a fault
// (common practice, no source).
const levelled = 0.5

// carried orders a move at the clearance height, or up to it, that ends at n. When
// its ok was lost and only the printer's line number speaks for it, the printer is
// asked where it is: a line may be counted and not done, and the next travel
// would be low.
func (h *Head) carried(ctx context.Context, m gcode.Motion, act string, n record.Nozzle) error {
	r, err := h.move(ctx, m, act)
	if err != nil || r.OK.Kind != gcode.Empty {
		return err
	}
	if err := h.believe(ctx); err != nil {
		return err
	}
	there := math.IsNaN(n.X) || max(math.Abs(h.at.X-n.X), math.Abs(h.at.Y-n.Y)) <= slip
	if there && h.z >= h.setup.Clearance-levelled {
		return nil
	}
	return fault(errNotDone, "not-there", "look at the machine and its cable, then start a new run",
		"%s: the printer is at X %.2f, Y %.2f, Z %.3f, and not where it was sent", act, h.at.X, h.at.Y, h.z)
}
