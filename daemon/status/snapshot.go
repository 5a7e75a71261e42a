package status

import (
	"time"

	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/daemon/api"
)

// Counters count since the daemon started; none ever falls.
type Counters struct {
	// Touches and Gaugings that were recorded.
	Touches  uint64
	Gaugings uint64
	// Faults that the printer reported or the link had.
	Faults uint64
	// Resends that the printer asked for.
	Resends uint64
	// Lines that were heard from the printer.
	Lines uint64
	// Busy is how long the printer was busy with commands of runs, Waited how
	// long it waited for the next one while nobody else was waited for, s.
	Busy, Waited float64
}

// Last says when a step last ended and whether it came to its end.
type Last struct {
	At      time.Time
	Success bool
}

// Kept says how much the store holds.
type Kept struct {
	// Bytes in use; runs Due to be dropped soon; runs Dropped since the start.
	Bytes   int64
	Due     int
	Dropped uint64
	// Limit is how many bytes may be in use, Free how many the disk has left
	// (-1: not known).
	Limit, Free int64
}

// Bound is a size with the half width of its 95 % interval, mm.
type Bound struct{ Value, Half float64 }

// Limits are the owner's thresholds, mm, and mm per minute.
type Limits struct {
	Tolerance, Scatter, Play, Wander float64
	DriftRate                        float64
}

// Check says when the quick check is due; zero: never asked for.
type Check struct {
	Due time.Time
	// Waits says why a due check has not begun, "" if it is not due.
	Waits string
}

// Build says which program this is.
type Build struct {
	Version string
	Commit  string
	Go      string
}

// Snapshot is what is to be seen at one moment. It is immutable once it was
// published: whoever fills the pointers, maps and slices in it must not change
// what they lead to afterwards.
type Snapshot struct {
	// At is when it was gathered.
	At time.Time
	// Printer holds the state of the link as well.
	Printer api.Printer
	// Run is the latest run, nil if there was none.
	Run *api.Run
	// Analysis is that of the latest run that has ended, nil if none has.
	Analysis *api.Analysis
	// Steady is the stability that the latest run found which tested it.
	Steady *api.Stability
	// Gauged is the analysis of the latest run whose gap error could be told,
	// Tilt how fast the head tilts by it, TiltApplied the same by the run from
	// which the correction in force was made, rad per mm.
	Gauged            *api.Analysis
	Tilt, TiltApplied analysis.Rates
	// Moved is how the tilt changed up to that run, against what Since says; absent
	// where nothing can be compared.
	Moved    map[string]Moved
	Applied  api.Applied
	Counters Counters
	Kept     Kept
	// Steps holds how each step of a run (by its name in the API, and "apply",
	// "reapply" and "undo") last ended; a step that never ended is absent.
	Steps map[string]Last
	// ReapplyRefused counts the refusals of a re-apply by their code.
	ReapplyRefused map[string]uint64
	// GapBefore is the largest gap error found, without sign, and GapAfter what
	// the correction in force leaves of it at its nodes in the gauged area; nil
	// if not known.
	GapBefore *Bound
	GapAfter  *Bound
	// AppliedAt is when the correction in force was written, zero if none is;
	// Expiry is why it no longer holds, one of the words below, or "".
	AppliedAt time.Time
	Expiry    string
	// PortHeld says that this program has the port open.
	PortHeld bool
	// HostShare is how long the printer waited for this program in the latest
	// run, as a share of its own busy time; nil if not known.
	HostShare *float64
	Limits    Limits
	Check     Check
	Build     Build
}

// The reasons why a correction no longer holds: the head's tilt moved beyond its doubt, the
// lever is another, the bed map was measured or changed since, or only some of its nodes were,
// another printer is at the port.
const (
	ExpiredTwist   = "twist"
	ExpiredLever   = "lever"
	ExpiredMap     = "map"
	ExpiredMixed   = "map-mixed"
	ExpiredPrinter = "printer"
)

// What the tilt of the latest gauged run is compared with: the run before it that
// told one, and the run from which the correction in force was made.
const (
	SinceRun        = "run"
	SinceCorrection = "correction"
)

// Moved is how the tilt of the head changed, rad per mm; nil where it was not told
// twice.
type Moved struct {
	Twist, Pitch *compare.Change
}
