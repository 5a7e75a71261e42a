package probe

import (
	"cmp"
	"context"
	"errors"
	"math"

	"abbed/gcode"
	"abbed/probe/record"
)

// runUp is how far away an approach starts, mm, along each axis of its side:
// far enough to take up the play of belts and wheels (common practice, no
// source).
const runUp = 12

// errStray says that a touch was kept as a stray one: nothing may rest on it.
var errStray = errors.New("probe: a touch that cannot be of the bed")

// Touch probes the place once, coming from side, and keeps the touch. what says
// what it is for: its Series, Pass, Index and Spot are kept. The side kept is
// the one that the travel allowed. A touch that cannot be of the bed, by all others
// of the run, is kept as a stray one, and the error is errStray.
func (h *Head) Touch(ctx context.Context, p record.Place, side record.Side, what record.Touch) (record.Touch, error) {
	if err := h.mayTouch(p); err != nil {
		return record.Touch{}, err
	}
	side, err := h.approach(ctx, h.setup.Lever.NozzleFor(p), side)
	if err != nil {
		return record.Touch{}, err
	}
	z, step, err := h.contact(ctx, p)
	if err != nil {
		return record.Touch{}, err
	}
	if !h.ground.holds(p, z) {
		what.Series = record.SeriesStray
	}
	what.Place, what.Z, what.Side, what.Step, what.Levelled = p, z, side, step, h.levelling != nil && *h.levelling
	e, err := h.log.Append(record.Event{Touch: &what})
	if err != nil {
		return record.Touch{}, fault(err, "store", "see to the disk (the sentence says what it has), then start again; the touches so far are kept", "keep a touch")
	}
	if what.Series == record.SeriesStray {
		err = errStray
	} else {
		h.ground.add(p, z)
	}
	return *e.Touch, cmp.Or(h.Raise(ctx), err)
}

// mayTouch holds the guards of a touch that are known before it.
func (h *Head) mayTouch(p record.Place) error {
	if !h.homed {
		return unhomed("touch")
	}
	if !h.setup.Bed.Has(p) {
		return refuse("off-bed", "check the bed in the settings", "touch at %s: not on the bed", p)
	}
	if room := h.told.room(h.log.Run()).At(p); room < leastRoom {
		return refuse("no-room", "gauge nearer places first, or touch a smaller area",
			"touch at %s: only %.2f mm of room is predicted under the nozzle, %.1f mm are needed", p, room, leastRoom)
	}
	return nil
}

// approach brings the nozzle to n with the last of the way from side, at
// clearance. It returns the side from which it really came.
func (h *Head) approach(ctx context.Context, n record.Nozzle, side record.Side) (record.Side, error) {
	from := n
	from.X, side.X = h.start(n.X, side.X, h.setup.Travel.X0, h.setup.Travel.X1)
	from.Y, side.Y = h.start(n.Y, side.Y, h.setup.Travel.Y0, h.setup.Travel.Y1)
	if from != n && !h.comesFrom(n, side) {
		if err := h.Travel(ctx, from); err != nil {
			return side, err
		}
	}
	return side, h.Travel(ctx, n)
}

// start returns where along one axis an approach to x from side begins, and the
// side that the travel lo..hi allows.
func (h *Head) start(x float64, side int8, lo, hi float64) (float64, int8) {
	s := min(max(x+float64(side)*runUp, lo), hi)
	if math.Abs(s-x) < 3 {
		return x, 0
	}
	return s, side
}

// comesFrom reports whether the way from here to n already comes from side,
// with no other axis moving more than is asked.
func (h *Head) comesFrom(n record.Nozzle, side record.Side) bool {
	along := func(d float64, s int8) bool {
		if s == 0 {
			return math.Abs(d) < 0.01
		}
		return d*float64(s) >= 3
	}
	return along(h.at.X-n.X, side.X) && along(h.at.Y-n.Y, side.Y)
}

// contact makes one touch where the head stands; z is in the map's Z, mm, step
// the step of the report, mm.
func (h *Head) contact(ctx context.Context, p record.Place) (z, step float64, err error) {
	word := h.touchWord(p)
	h.z = math.NaN()
	r, err := h.move(ctx, word, "touch at "+p.String())
	if err != nil {
		return 0, 0, err
	}
	x, y, z, decimals, ok := h.words.ReadTouch(r)
	if !ok && h.manner.Style == StyleStraight {
		h.mute = true
		x, y, z, decimals, ok, err = h.askContact(ctx)
		if err != nil {
			return 0, 0, err
		}
	}
	if !ok {
		return 0, 0, fault(nil, "no-touch",
			"is the place within the printer's own limits, the machine homed, the probe free? A printer that answers nothing may know another word: if it probes straight down (G38.2), set probe.style: straight",
			"touch at %s: the printer reported no contact, but %q", p, said(r))
	}
	if z, step, err = h.refine(ctx, z, math.Pow(10, -float64(decimals))); err != nil {
		return 0, 0, err
	}
	return h.plausible(p, x, y, z, step)
}

// touchWord returns the word of a touch of p, by the style of probing.
func (h *Head) touchWord(p record.Place) gcode.Motion {
	switch {
	case h.manner.Style != StyleStraight:
		return h.words.Touch(p)
	case h.mute:
		return h.words.ProbeDownMute(h.deepest(p), h.manner.Feeds.Probe)
	}
	return h.words.ProbeDown(h.deepest(p), h.manner.Feeds.Probe)
}

// askContact asks for the position where a straight probe stopped.
func (h *Head) askContact(ctx context.Context) (x, y, z float64, decimals int, ok bool, err error) {
	r, err := h.settled(ctx, "ask where the probe stopped")
	if err != nil {
		return 0, 0, 0, 0, false, err
	}
	x, y, z, decimals, ok = h.words.ReadStop(r)
	if ok && z <= h.deepest(h.setup.Lever.PlaceUnderProbe(record.Nozzle{X: x, Y: y}))+0.005 {
		return 0, 0, 0, 0, false, nil // it went all the way: no contact
	}
	return x, y, z, decimals, ok, nil
}

// deepest is how far down a straight probe may go at p, in the nozzle's Z: so
// far that the least room is left under the nozzle if nothing triggers.
func (h *Head) deepest(p record.Place) float64 {
	expected, _ := h.ground.expect(p)
	room := h.told.room(h.log.Run()).At(p)
	if math.IsInf(room, 1) {
		return expected - 1.5 // the nozzle is the probe: it stops at the bed
	}
	return expected + h.setup.Trigger - max(0, room-leastRoom)
}

// plausible turns a report into a height, or a fault if it cannot be one of p.
func (h *Head) plausible(p record.Place, x, y, z, step float64) (float64, float64, error) {
	if h.manner.RawHeights {
		z -= h.setup.Trigger
	}
	said := record.Place{U: x, V: y}
	if said.Distance(p) > 1.5 && said.Distance(h.setup.Lever.NozzleFor(p).PlaceUnder()) > 1.5 {
		return 0, 0, fault(nil, "other-place", "two programs on one port, or a lost line; start again",
			"touch at %s: the printer reports a touch at %s", p, said)
	}
	if math.IsNaN(z) {
		return 0, 0, fault(nil, "not-a-bed", "look at the probe and its wiring, then start again", "touch at %s: the height is no number", p)
	}
	return z, step, nil
}
