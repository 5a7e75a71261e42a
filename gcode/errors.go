package gcode

import (
	"errors"
	"fmt"
)

// Why a session ended, or a command failed. Test with errors.Is.
var (
	// ErrSilent: no ok, busy line or report for Options.Silence.
	ErrSilent = errors.New("the printer is silent")
	// ErrOverdue: the printer lives, but the command took longer than its
	// class allows.
	ErrOverdue = errors.New("the command took too long")
	// ErrRestarted: the board restarted; position and settings in force are gone.
	ErrRestarted = errors.New("the printer restarted")
	// ErrHalted: the printer halted and answers nothing until a reset.
	ErrHalted = errors.New("the printer halted")
	// ErrLost: the connection ended, or the line numbers cannot be brought in step.
	ErrLost = errors.New("the link to the printer is lost")
	// ErrStopped: StopNow was called.
	ErrStopped = errors.New("stopped")
	// ErrClosed: Close was called.
	ErrClosed = errors.New("the session is closed")
	// ErrReplyLost: the command was done, but its report was lost on the way.
	// The session lives on.
	ErrReplyLost = errors.New("done, but its report was lost on the way")
	// ErrEndless: a command was answered by more than any answer has. What came is
	// not kept.
	ErrEndless = errors.New("what the printer says does not end")
	// ErrGarbled: something came, but nothing readable.
	ErrGarbled = errors.New("only unreadable bytes came")
)

// FaultError is the printer's own error in answer to a command.
// errors.Is(err, ErrHalted) holds if it halted.
type FaultError struct {
	Line    Line   // what the printer said
	Command string // in answer to what; empty if unasked
	Hint    string // what the person at the machine can do
}

// Error says the act, then the cause.
func (e *FaultError) Error() string {
	if e.Command == "" {
		return fmt.Sprintf("gcode: the printer reports unasked: %.200s", e.Line.Text)
	}
	return fmt.Sprintf("gcode: %s: the printer answers: %.200s", e.Command, e.Line.Text)
}

// Is makes a halting fault an ErrHalted.
func (e *FaultError) Is(target error) bool { return target == ErrHalted && e.Line.Halts }

func endless(command string) error {
	return fmt.Errorf("%w: more than %d lines or %d kB came in answer to %s", ErrEndless, mostLines, mostBytes>>10, command)
}

func newFault(l Line, command string) *FaultError {
	e := &FaultError{Line: l, Command: command}
	switch {
	case l.Halts:
		e.Hint = "Look at the machine and its display. It has to be reset or switched off and on, and homed again."
	case command == "":
		e.Hint = "Look at the machine and its display, then connect again and home."
	default:
		e.Hint = "Read what the printer says. Its manual explains the message."
	}
	return e
}

// Code names why a session ended or a command failed in one word, for programs;
// "" if err is of no kind of this package.
func Code(err error) string {
	for _, c := range []struct {
		is   error
		code string
	}{
		{ErrStopped, "stopped"}, {ErrHalted, "printer-halted"}, {ErrRestarted, "printer-restarted"},
		{ErrSilent, "printer-silent"}, {ErrOverdue, "printer-silent"}, {ErrReplyLost, "reply-lost"},
		{ErrLost, "lost"}, {ErrGarbled, "garbled"}, {ErrEndless, "answer-endless"},
	} {
		if errors.Is(err, c.is) {
			return c.code
		}
	}
	return ""
}
