package probe

import (
	"context"
	"errors"
	"math"
	"strings"
	"time"

	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Style is how the printer probes.
type Style string

// Styles of probing.
const (
	// StyleTouch: one word travels, probes and reports the place (G30).
	StyleTouch Style = "touch"
	// StyleStraight: a straight probing move down (G38.2, RS-274/NGC).
	StyleStraight Style = "straight"
)

// Feeds are speeds, mm per minute.
type Feeds struct {
	Travel float64
	Z      float64
	Probe  float64
}

// Manner is how the head is driven.
type Manner struct {
	Style Style
	Feeds Feeds
	// RawHeights says that touches are reported without the probe's Z offset:
	// as the height of the nozzle. The trigger height is then taken off.
	RawHeights bool
	// Heat bounds what a run may heat.
	Heat HeatLimits
	// IdleOff is what the idle switch-off of the motors is put back to, s.
	IdleOff int
	// Clock is the job's time, by which a homing that was answered at once is
	// known; nil: every homing may have been one.
	Clock *clock.Clock
}

// Head is the only sender of motion. Every guard stands here: homed, within
// travel, at clearance, room under the nozzle, floor. Not for concurrent use.
type Head struct {
	line   Dialogue
	words  *dialect.Dialect
	log    Log
	setup  record.Setup
	manner Manner

	homed bool
	// homings is how often the machine's own zero was found.
	homings int
	// away says that nobody was there for long: the machine homes before it moves on.
	away  bool
	moved time.Time // when the last motion was answered
	// levelling is what must hold at each motion; nil: as it is. silentLevelling says
	// that the printer does not show it.
	levelling       *bool
	silentLevelling bool
	at              record.Nozzle
	z               float64 // NaN: not known, as after a touch
	told            soFar   // by the person's records
	mute            bool    // a straight probe does not report where it stopped
	ground          ground  // what is touched
	fine            finer
}

// NewHead returns a head on which nothing has moved yet: not homed.
func NewHead(line Dialogue, words *dialect.Dialect, log Log, m Manner) *Head {
	h := &Head{line: line, words: words, log: log, setup: log.Run().Setup, manner: m, z: math.NaN()}
	h.Over(0)
	if h.setup.Sources["levelling"] == record.Asked {
		h.levelling = &h.setup.Levelling // a homing may switch it
	}
	return h
}

// Homed reports whether the position can be believed.
func (h *Head) Homed() bool { return h.homed }

// believe takes the position from the printer.
func (h *Head) believe(ctx context.Context) error {
	x, y, z, _, err := h.stop(ctx)
	if err != nil {
		return err
	}
	h.at, h.z = record.Nozzle{X: x, Y: y}, z
	return nil
}

// stop waits for the moves to end and asks where the head is; decimals are those
// with which z was said.
func (h *Head) stop(ctx context.Context) (x, y, z float64, decimals int, err error) {
	r, err := h.settled(ctx, "ask for the position")
	if err != nil {
		return 0, 0, 0, 0, err
	}
	x, y, z, decimals, ok := h.words.ReadStop(r)
	if !ok {
		return 0, 0, 0, 0, fault(nil, "no-position",
			"run abbed doctor, and set the pattern of the position in the settings",
			"ask for the position: the answer %q holds no X, Y and Z", said(r))
	}
	return x, y, z, decimals, nil
}

// Over says that another surface is touched from now on, on mm above the bed: what the
// touches so far tell does not hold for it.
func (h *Head) Over(on float64) { h.ground = ground{zero: h.setup.Zero, on: on} }

// Left says that nobody was there for long: whatever moves next homes first.
func (h *Head) Left() { h.away = true }

// Away reports whether the machine homes before it moves on.
func (h *Head) Away() bool { h.lapse(); return h.away }

// lapse forgets the position where the motors may have let go: the machine stood
// for as long as its idle switch-off was held off.
func (h *Head) lapse() {
	if h.homed && h.now().Sub(h.moved) > HeldOff*time.Second-letGo {
		h.homed, h.away = false, true
	}
}

// letGo is how long before the idle switch-off the motors count as off.
const letGo = 10 * time.Minute

// ready makes sure that the head may travel: homed, and home again where nobody was
// there for long.
func (h *Head) ready(ctx context.Context, act string) error {
	h.lapse()
	if h.away {
		return h.Home(ctx)
	}
	if !h.homed {
		return unhomed(act)
	}
	return nil
}

// Raise lifts the nozzle to the clearance height if it may be lower.
func (h *Head) Raise(ctx context.Context) error {
	h.lapse()
	if !h.homed {
		return unhomed("raise")
	}
	if h.z >= h.setup.Clearance-0.005 {
		return nil
	}
	word := h.words.MoveZ(h.setup.Clearance, h.manner.Feeds.Z)
	err := h.carried(ctx, word, "raise", record.Nozzle{X: h.at.X, Y: h.at.Y})
	if errors.Is(err, errNotDone) { // once more: up is safe, and lowers nothing
		err = h.carried(ctx, word, "raise", record.Nozzle{X: h.at.X, Y: h.at.Y})
	}
	if err == nil {
		h.z = h.setup.Clearance
	}
	return err
}

// Travel takes the nozzle to n at the clearance height.
func (h *Head) Travel(ctx context.Context, n record.Nozzle) error {
	if err := h.ready(ctx, "travel"); err != nil {
		return err
	}
	if !h.setup.Travel.Has(record.Place{U: n.X, V: n.Y}) {
		return refuse("out-of-travel", "check bed, travel and lever in the settings",
			"travel to X %.1f, Y %.1f: outside the nozzle's travel", n.X, n.Y)
	}
	if err := h.Raise(ctx); err != nil {
		return err
	}
	if err := h.carried(ctx, h.words.MoveXY(n, h.manner.Feeds.Travel), "travel", n); err != nil {
		return err
	}
	h.at = n
	return nil
}

// Lower takes the nozzle to height z where it stands, never below the floor,
// and makes sure that it came there.
func (h *Head) Lower(ctx context.Context, z, floor float64) error {
	if h.lapse(); !h.homed || h.away {
		return unhomed("lower")
	}
	if z < floor-1e-6 {
		return pastFloor(z, floor)
	}
	if _, err := h.move(ctx, h.words.MoveZ(z, h.manner.Feeds.Z), "lower"); err != nil {
		return err
	}
	h.z = z
	return h.check(ctx)
}

// slip is how far a reported position may be from the commanded one in X and Y,
// mm: the step of a report with two decimals, and motor steps.
const slip = 0.03

// motorStep is how far a height may be off because the motor has steps, mm
// (common practice, no source).
const motorStep = 0.003

// check asks where the head is and fails if it is not where it was sent. In Z
// half a step of the report and a motor step are allowed: a record rests on it.
// Where the printer says it is, is believed.
func (h *Head) check(ctx context.Context) error {
	sent, height := h.at, h.z
	x, y, z, decimals, err := h.stop(ctx)
	if err != nil {
		return err
	}
	allowed := math.Pow(10, -float64(decimals))/2 + motorStep
	there := math.IsNaN(sent.X) || max(math.Abs(x-sent.X), math.Abs(y-sent.Y)) <= slip
	if there && math.Abs(z-height) <= allowed {
		h.at = record.Nozzle{X: x, Y: y}
		return nil
	}
	h.at, h.z = record.Nozzle{X: x, Y: y}, z
	return fault(nil, "not-there",
		"look at the machine: did its travel limits hold it, or was it moved by hand?",
		"the printer is at X %.2f, Y %.2f, Z %.3f, and not at X %.2f, Y %.2f, Z %.3f",
		x, y, z, sent.X, sent.Y, height)
}

func (h *Head) move(ctx context.Context, m gcode.Motion, act string) (gcode.Reply, error) {
	r, err := h.set(ctx, m, act)
	if err != nil {
		h.z, h.at = math.NaN(), record.Nozzle{X: math.NaN(), Y: math.NaN()} // it may have moved
		return r, err
	}
	h.moved = h.now()
	return r, nil
}

// set sends a motion that moves nothing: the position stays known.
func (h *Head) set(ctx context.Context, m gcode.Motion, act string) (gcode.Reply, error) {
	r, err := h.line.Move(ctx, m)
	return r, h.failed(err, act)
}

func (h *Head) ask(ctx context.Context, q gcode.Query, act string) (gcode.Reply, error) {
	r, err := h.line.Ask(ctx, q)
	return r, h.failed(err, act)
}

// settled waits for the moves to end and asks where the head is.
func (h *Head) settled(ctx context.Context, act string) (gcode.Reply, error) {
	if _, err := h.ask(ctx, h.words.Settle(), "wait for moves"); err != nil {
		return gcode.Reply{}, err
	}
	return h.ask(ctx, h.words.Where(), act)
}

// failed is what the dialogue failed by, nil if it did not; the position may be lost with it.
func (h *Head) failed(err error, act string) error {
	if err == nil {
		return nil
	}
	if _, lost := hintOf(err); lost {
		h.homed = false
	}
	return lineFault(err, act)
}

func unhomed(act string) *record.Problem {
	return refuse("unhomed", "the position is not known: start a new run, which homes first", "%s: the machine is not homed", act)
}

func pastFloor(z, floor float64) *record.Problem {
	return refuse("past-floor", "a smaller step; if the gauge is still loose at the floor, stop here",
		"lower to %.3f mm: below the floor at %.3f mm", z, floor)
}

// said returns the lines of a reply as one short text.
func said(r gcode.Reply) string {
	var lines []string
	for _, l := range r.Lines {
		lines = append(lines, l.Text)
	}
	s := strings.Join(lines, " | ")
	if len(s) > 200 {
		s = s[:200] + "..."
	}
	return s
}
