package status

import (
	"time"

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
	// Analysis is that of the latest run which has one, nil if none has.
	Analysis *api.Analysis
	Applied  api.Applied
	Counters Counters
	Kept     Kept
	// Steps holds how each step of a run (by its name in the API, and "apply"
	// and "undo") last ended; a step that never ended is absent.
	Steps map[string]Last
	// GapBefore is the largest gap error found, mm, without sign, and GapAfter
	// what the table in force leaves of it (with the table's own doubt); nil
	// if not known.
	GapBefore *float64
	GapAfter  *float64
	Build     Build
}
