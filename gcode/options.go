package gcode

import (
	"time"

	"abbed/gcode/clock"
)

// Framing says whether numbered lines with a check are used.
type Framing int

// Framings.
const (
	FramingFound Framing = iota // Greet finds out
	FramingNever                // plain lines, whatever the printer can
)

// Options of a Session. The zero value is ready to use.
type Options struct {
	// Clock is the job's time; default clock.Real().
	Clock *clock.Clock
	// Silence is how long the printer may be silent while a command is in
	// flight; default 10 s. Longer: a dead printer is noticed later. Shorter:
	// a printer that says busy only every few seconds is taken for dead.
	Silence time.Duration
	// Limits is how long a command of a class may take since it was sent or
	// since the last busy line. Defaults: quick 1 min, move and touch 2 min,
	// home 3 min, heat 30 min (common practice, no source).
	Limits map[Class]time.Duration
	// Longest is how long a command may take in all, busy or not; default 30
	// min, and twice the limit of its class if that is longer.
	Longest time.Duration
	// Settle is how long the line must be silent before Greet says its first
	// word; default 1.5 s.
	Settle time.Duration
	// Framing finds out by default.
	Framing Framing
	// Hello is the harmless word with which Greet begins; default M115.
	Hello string
	// StopWord is what StopNow sends; default M112.
	StopWord string
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
	setIfZero(&o.Silence, 10*time.Second)
	setIfZero(&o.Longest, 30*time.Minute)
	setIfZero(&o.Settle, 1500*time.Millisecond)
	setIfZero(&o.Hello, "M115")
	setIfZero(&o.StopWord, "M112")
	limits := map[Class]time.Duration{
		Quick: time.Minute, Move: 2 * time.Minute, Touch: 2 * time.Minute,
		Home: 3 * time.Minute, Heat: 30 * time.Minute,
	}
	for c, d := range o.Limits {
		limits[c] = d
	}
	o.Limits = limits
	return o
}

func setIfZero[T comparable](v *T, to T) {
	var zero T
	if *v == zero {
		*v = to
	}
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
