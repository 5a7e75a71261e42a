package probe

import (
	"errors"

	"abbed/gcode"
	"abbed/probe/record"
)

// hintOf says what the person can do about a failure of the dialogue.
func hintOf(err error) string {
	var f *gcode.FaultError
	switch {
	case errors.As(err, &f):
		return f.Hint
	case errors.Is(err, gcode.ErrSilent), errors.Is(err, gcode.ErrOverdue):
		return "look at the printer's display and the cable; the machine has to be homed again"
	case errors.Is(err, gcode.ErrRestarted):
		return "the printer restarted: check its supply, and start again"
	case errors.Is(err, gcode.ErrHalted):
		return "the printer halted: reset it or switch it off and on, then start again"
	case errors.Is(err, gcode.ErrStopped):
		return "a stop was requested: look at the machine, reset it if it does not answer, then start again"
	case errors.Is(err, gcode.ErrEndless):
		return "set another command for it in words.templates, or switch off what the printer reports by itself"
	case errors.Is(err, gcode.ErrReplyLost):
		return "the line is disturbed: check cable and plugs, then start again"
	case errors.Is(err, gcode.ErrLost), errors.Is(err, gcode.ErrClosed):
		return "check the cable and the printer's power, then start again"
	}
	return "look at the machine, then start again"
}

// loses reports whether the position is fiction after this failure: the printer
// restarted, halted, refused or was asked to stop, or cannot be heard any more.
func loses(err error) bool {
	var f *gcode.FaultError
	if errors.As(err, &f) {
		return true
	}
	for _, lost := range []error{
		gcode.ErrSilent, gcode.ErrOverdue, gcode.ErrRestarted, gcode.ErrHalted,
		gcode.ErrLost, gcode.ErrStopped, gcode.ErrClosed, gcode.ErrGarbled, gcode.ErrReplyLost, gcode.ErrEndless,
	} {
		if errors.Is(err, lost) {
			return true
		}
	}
	return false
}

// LineFault is the Fault of a line that died while nothing was asked of it.
func LineFault(err error) *record.Problem {
	return fault(err, "failed", hintOf(err), "the line to the printer")
}
