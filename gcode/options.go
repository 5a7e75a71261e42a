package gcode

import (
	"cmp"
	"time"

	"abbed/gcode/clock"
)

// What every session keeps to (common practice, no source).
const (
	helloWord = "M115" // the harmless word with which Greet begins
	stopWord  = "M112"
	// longest is how long a command may take in all, busy or not, or twice the limit of
	// its class if that is longer.
	longest = 30 * time.Minute
	// settleTime is how long the line must be silent before Greet says its first word.
	settleTime = 1500 * time.Millisecond
)

// limits are how long a command of a class may take since it was sent or since the last
// busy line.
var limits = [...]time.Duration{
	Quick: time.Minute, Move: 2 * time.Minute, Touch: 2 * time.Minute,
	Home: 3 * time.Minute, Heat: 30 * time.Minute,
}

// Options of a Session. The zero value is ready to use.
type Options struct {
	// Clock is the job's time; default clock.Real().
	Clock *clock.Clock
	// Silence is how long the printer may be silent while a command is in
	// flight; default 10 s. Longer: a dead printer is noticed later. Shorter:
	// a printer that says busy only every few seconds is taken for dead.
	Silence time.Duration
	// OnUnasked is given lines that no command asked for, and every comment
	// line and every line of temperatures. It must not block.
	OnUnasked func(Line)
	// Log is given every line, with ">" for sent and "<" for heard. It must
	// not block, and may be called by two goroutines at once.
	Log func(dir, line string)
}

func (o Options) withDefaults() Options {
	if o.Clock == nil {
		o.Clock = clock.Real()
	}
	o.Silence = cmp.Or(o.Silence, 10*time.Second)
	return o
}

// Counts are what a Session has seen so far.
type Counts struct {
	Sent     int64 // lines sent, those sent again too
	Again    int64 // lines sent again
	Received int64 // lines heard
	Resends  int64 // requests to send again
	Faults   int64 // faults other than requests to send again
	Busy     int64 // busy lines
	Unasked  int64 // oks that nobody waited for, dropped
	Silences int64 // times that the silence ran out
	Damaged  int64 // lines that held unreadable bytes or were too long
	BytesOut int64
	BytesIn  int64
}
