package probe

import (
	"context"

	"abbed/gcode"
	"abbed/probe/record"
)

// Dialogue carries commands to the printer and brings the answers back; a
// gcode.Session is one.
type Dialogue interface {
	Ask(context.Context, gcode.Query) (gcode.Reply, error)
	Move(context.Context, gcode.Motion) (gcode.Reply, error)
}

// Log keeps what happens. Append numbers and times the event and returns it as
// kept; an error means that nothing can be kept any more, and the run ends.
type Log interface {
	Append(record.Event) (record.Event, error)
	Run() record.Run
}

// Person is whoever stands at the machine.
type Person interface {
	// Act waits for the next action at the blade. It returns ctx's error when
	// the context ends first.
	Act(context.Context) (Action, error)
	// Reply waits for the answer to the question that is shown. It returns
	// ctx's error when the context ends first.
	Reply(context.Context) (Reply, error)
}

// Reply is the person's answer to a question. Done must be called once, with
// nil when it was taken, or with why it was refused.
type Reply struct {
	record.Answer
	Done func(error)
}

// Action is what the person says at the gauge. Done must be called once, with
// nil or with why it was refused, when the action has been carried out.
type Action struct {
	// Do is loose, drags, tight, skip, next or forget.
	Do   string
	Done func(error)
}
