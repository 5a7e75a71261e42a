package analysis

import (
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// Verdict is everything that a run tells, each part absent where the run
// cannot tell it.
type Verdict struct {
	// Stability is whether the machine does the same twice.
	Stability steady.Stability `json:"stability"`
	// Profile is the survey taken apart into columns and rows; nil without one.
	Profile *steady.Profile `json:"profile"`
	// Share is how much of the map's non-linear left-right shape is lever
	// error: 0 real, 1 all of it; not clipped. Nil with ShareWhy.
	Share    *result.Measured `json:"share"`
	ShareWhy string           `json:"share_why,omitempty"`
	// Gap is the fitted gap error; nil with GapWhy.
	Gap    *Gap           `json:"-"`
	GapWhy *result.Reason `json:"gap_why,omitempty"`
	// Level is how far the person's Z offset is off, mm: + = too high.
	Level *result.Measured `json:"level"`
	// Model is how the gap error was fitted.
	Model Model `json:"model"`
	// Later is what became of the gaugings of later runs for this one, the earliest
	// first.
	Later []Later `json:"later,omitempty"`
	// Findings are the conclusions, the gravest first; at least one.
	Findings []result.Finding `json:"findings"`

	// Tells is what can be told, by which way of seeing, and what would tell
	// the rest.
	Tells []Tell `json:"tells"`

	facts *facts
	// undecided says what of the tolerance only more records decide; empty: nothing.
	undecided string
}

// Has reports whether the finding with this identifier was made.
func (v Verdict) Has(id string) bool {
	for _, f := range v.Findings {
		if f.ID == id {
			return true
		}
	}
	return false
}

// Judge returns what the run tells. It is pure and deterministic, takes any
// run (empty, partial, stopped, wild) and never panics on one.
func Judge(run record.Run) Verdict {
	return judge(steady.Clean(run))
}

// Judged is a run with its verdict.
type Judged struct {
	Run     record.Run
	Verdict Verdict
}
