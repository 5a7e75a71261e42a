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

// Switch throws a switch of the printer and keeps that it was thrown. The
// levelling is switched only while homed and at clearance. What is not known
// to be on is not switched off, and so not owed.
func (h *Head) Switch(ctx context.Context, what record.Switch, on bool) error {
	off := slices.Contains(h.log.Run().Off, what)
	if on != off {
		return nil // it stands so already, as far as we threw it
	}
	if what == record.SwitchLevelling {
		if err := h.Raise(ctx); err != nil {
			return err
		}
		if err := h.check(ctx); err != nil {
			return err
		}
	}
	if what == record.SwitchLevelling && !on && !h.setup.Levelling {
		// It was off before the run: make sure, and owe nothing.
		_, err := h.ask(ctx, h.word(what, on), "switch "+string(what))
		return err
	}
	// What was switched off is owed from before the word goes out; what is
	// switched on is owed until the printer has answered.
	if !on {
		if err := h.keepSwitch(what, on); err != nil {
			return err
		}
	}
	if _, err := h.ask(ctx, h.word(what, on), "switch "+string(what)); err != nil {
		return err
	}
	if on {
		if err := h.keepSwitch(what, on); err != nil {
			return err
		}
	}
	if what == record.SwitchLevelling {
		return h.believe(ctx)
	}
	return nil
}

func (h *Head) word(what record.Switch, on bool) gcode.Query {
	switch what {
	case record.SwitchLevelling:
		return h.words.Levelling(on)
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

func (h *Head) keepSwitch(what record.Switch, on bool) error {
	_, err := h.log.Append(record.Event{Switched: &record.Switched{What: what, On: on}})
	if err != nil {
		return fault(err, "store", "see to the disk (the sentence says what it has), then start again", "keep that %s was switched", what)
	}
	return nil
}

// PutBack switches on again whatever the run switched off, raising first, and the
// heaters off. It
// does what it can and returns the first error; what could not be put back
// stays in the run's Off.
func (h *Head) PutBack(ctx context.Context) error {
	var first error
	note := func(err error) {
		if first == nil {
			first = err
		}
	}
	if len(h.log.Run().Off) == 0 {
		if h.homed {
			note(h.Raise(ctx))
		}
		return first
	}
	if h.homed {
		note(h.Raise(ctx))
		if err := h.check(ctx); err != nil {
			h.homed = false // it did not go up: its motors may be off
			note(err)
		}
	}
	if slices.Contains(h.log.Run().Off, record.SwitchHeaters) {
		note(h.Cool(ctx))
	}
	for _, what := range []record.Switch{record.SwitchLimits, record.SwitchIdle, record.SwitchLevelling} {
		if slices.Contains(h.log.Run().Off, what) {
			note(h.Switch(ctx, what, true))
		}
	}
	return first
}
