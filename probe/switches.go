package probe

import (
	"context"
	"slices"
	"time"

	"abbed/gcode"
	"abbed/probe/record"
)

// putBackTime is how long putting back may take, of the job's time.
const putBackTime = 2 * time.Minute

// HeldOff is the idle time that is set during a run, s: four hours. A printer
// that reports it was left with it by a run.
const HeldOff = 4 * 3600

// Level wants the stored levelling on or off from now on: the printer is told at
// once, and again after each homing, which may switch it. A printer that shows
// another state is not moved any more.
func (h *Head) Level(ctx context.Context, on bool) error {
	h.levelling = &on
	return h.level(ctx)
}

// level asserts the levelling that is wanted, homed and at clearance. What differs
// from how it was before the run is owed from before the word goes out, until the
// printer has answered the word that puts it back.
func (h *Head) level(ctx context.Context) error {
	if err := h.atClearance(ctx); err != nil {
		return err
	}
	on := *h.levelling
	if on != h.setup.Levelling {
		if err := h.keepSwitch(record.SwitchLevelling, on); err != nil {
			return err
		}
	}
	r, err := h.ask(ctx, h.words.Levelling(on), "switch levelling")
	if err != nil {
		return err
	}
	if err := h.showsLevelling(ctx, r); err != nil {
		return err
	}
	if on == h.setup.Levelling {
		if err := h.keepSwitch(record.SwitchLevelling, on); err != nil {
			return err
		}
	}
	return h.believe(ctx)
}

// atClearance raises, and looks whether the head came there.
func (h *Head) atClearance(ctx context.Context) error {
	if err := h.Raise(ctx); err != nil {
		return err
	}
	if err := h.believe(ctx); err != nil {
		return err
	}
	if h.z >= h.setup.Clearance-levelled {
		return nil
	}
	h.homed = false // it did not go up: its motors may be off
	return fault(nil, "not-there", "look at the machine: was it moved by hand, or are its motors off? Then start a new run",
		"raise: the printer is at z=%.3f, and not at the clearance height of %.3f mm", h.z, h.setup.Clearance)
}

// showsLevelling is a Fault if the printer shows another levelling than the wanted
// one: in the reply r, or in its settings. What it does not show is believed.
func (h *Head) showsLevelling(ctx context.Context, r gcode.Reply) error {
	if h.levelling == nil {
		return nil
	}
	is, shown := h.words.ReadLevelling(r)
	if !shown && !h.silentLevelling {
		said, err := h.ask(ctx, h.words.Settings(), "look whether the levelling is on")
		if err != nil {
			return err
		}
		is, shown = h.words.ReadLevelling(said)
		h.silentLevelling = !shown
	}
	if !shown || is == *h.levelling {
		return nil
	}
	return fault(nil, "levelling-other", "look at the printer: does a setting or another program switch it? Then start a new run",
		"the stored levelling is %s at the printer, and this needs it %s", onOff(is), onOff(*h.levelling))
}

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

// Switch throws the travel limits or the idle switch-off, and keeps that it was
// thrown: as off before the word goes out, as on after the printer has answered.
func (h *Head) Switch(ctx context.Context, what record.Switch, on bool) error {
	if off := slices.Contains(h.log.Run().Off, what); on != off {
		return nil // it stands so already, as far as we threw it
	}
	if !on {
		if err := h.keepSwitch(what, on); err != nil {
			return err
		}
	}
	if _, err := h.ask(ctx, h.word(what, on), "switch "+string(what)); err != nil {
		return err
	}
	if on {
		return h.keepSwitch(what, on)
	}
	return nil
}

func (h *Head) word(what record.Switch, on bool) gcode.Query {
	switch what {
	case record.SwitchLimits:
		return h.words.LimitsSwitch(on)
	case record.SwitchIdle:
		if on {
			return h.words.IdleOff(h.manner.IdleOff)
		}
		return h.words.IdleOff(HeldOff)
	}
	panic("probe: no switch " + string(what))
}

// keepSwitch keeps that a switch stands at on, unless the run says so already.
func (h *Head) keepSwitch(what record.Switch, on bool) error {
	run := h.log.Run()
	if run.Owes(what, on) == slices.Contains(run.Off, run.Owed(what)) {
		return nil
	}
	_, err := h.log.Append(record.Event{Switched: &record.Switched{What: what, On: on}})
	if err != nil {
		return fault(err, "store", "see to the disk (the sentence says what it has), then start again", "keep that %s was switched", what)
	}
	return nil
}

// PutBack brings the printer back to how it was before the run: the heaters off, the
// nozzle raised, then the switches. It does what it can and returns the first error;
// what could not be put back stays in the run's Off. Without a position nothing
// moves, and the levelling stays as it is.
func (h *Head) PutBack(ctx context.Context) error {
	var first error
	note := func(err error) {
		if first == nil {
			first = err
		}
	}
	owed := h.log.Run().Off
	if slices.Contains(owed, record.SwitchHeaters) {
		note(h.Cool(ctx))
	}
	switch h.lapse(); {
	case h.homed && len(owed) > 0:
		note(h.atClearance(ctx))
	case h.homed:
		note(h.Raise(ctx))
	}
	for _, what := range owed {
		switch what {
		case record.SwitchLevelling, record.SwitchUnlevelled:
			note(h.Level(ctx, h.setup.Levelling))
		case record.SwitchLimits, record.SwitchIdle:
			note(h.Switch(ctx, what, true))
		}
	}
	return first
}
