package probe

import (
	"errors"

	"abbed/gcode"
	"abbed/probe/record"
)

const tryAgain = "look at the machine, then start again"

// losses are the failures after which the position is fiction, since the printer
// restarted, halted or was asked to stop, or cannot be heard any more; and what the person
// can do.
var losses = []struct {
	err  error
	hint string
}{
	{gcode.ErrSilent, "look at the printer's display and the cable; the machine has to be homed again"},
	{gcode.ErrOverdue, "look at the printer's display and the cable; the machine has to be homed again"},
	{gcode.ErrRestarted, "check the printer's supply, then start again"},
	{gcode.ErrHalted, "reset the printer or switch it off and on, then start again"},
	{gcode.ErrStopped, "look at the machine, reset it if it does not answer, then start again"},
	{gcode.ErrEndless, "set another command in words.templates, or switch the printer's own reports off"},
	{gcode.ErrReplyLost, "the line is disturbed: check cable and plugs, then start again"},
	{gcode.ErrLost, "check the cable and the printer's power, then start again"},
	{gcode.ErrClosed, "check the cable and the printer's power, then start again"},
	{gcode.ErrGarbled, tryAgain},
}

// hintOf says what the person can do about a failure of the dialogue, and whether the
// position is lost with it: after one of losses, or a refusal by the printer.
func hintOf(err error) (hint string, lost bool) {
	var f *gcode.FaultError
	if errors.As(err, &f) {
		return f.Hint, true
	}
	for _, l := range losses {
		if errors.Is(err, l.err) {
			return l.hint, true
		}
	}
	return tryAgain, false
}

// lineFault is a failure of the dialogue.
func lineFault(err error, act string) *record.Problem {
	hint, _ := hintOf(err)
	return fault(err, "failed", hint, "%s", act)
}

// LineFault is the Fault of a line that died while nothing was asked of it.
func LineFault(err error) *record.Problem { return lineFault(err, "the line to the printer") }
