package analysis

import "abbed/probe/record"

// Verdict is everything that a run tells, each part absent where the run
// cannot tell it.
type Verdict struct {
	// Stability is whether the machine does the same twice.
	Stability Stability `json:"stability"`
	// Profile is the survey taken apart into columns and rows; nil without one.
	Profile *Profile `json:"profile"`
	// Share is how much of the map's non-linear left-right shape is lever
	// error: 0 real, 1 all of it; not clipped. Nil with ShareWhy.
	Share    *Measured `json:"share"`
	ShareWhy string    `json:"share_why,omitempty"`
	// Gap is the fitted gap error; nil with GapWhy.
	Gap    *Gap    `json:"-"`
	GapWhy *Reason `json:"gap_why,omitempty"`
	// Level is how far the person's Z offset is off, mm: + = too high.
	Level *Measured `json:"level"`
	// Model is how the gap error was fitted.
	Model Model `json:"model"`
	// Later is what became of the gaugings of later runs for this one, the earliest
	// first.
	Later []Later `json:"later,omitempty"`
	// Findings are the conclusions, the gravest first; at least one.
	Findings []Finding `json:"findings"`

	// Tells is what can be told, by which way of seeing, and what would tell
	// the rest.
	Tells []Tell `json:"tells"`

	facts *facts
	// undecided says what of the tolerance only more records decide; empty: nothing.
	undecided string
}

// Finding is a named conclusion: the plain sentence first, then the numbers,
// their doubt, and what to do next.
type Finding struct {
	ID       string `json:"id"`
	Sentence string `json:"sentence"`
	Evidence string `json:"evidence"`
	Doubt    string `json:"doubt"`
	Next     string `json:"next" about:"what to do"`
}

// Findings, by their identifiers.
const (
	Healthy            = "healthy"
	BeamTwist          = "beam-twist"
	BeamPitch          = "beam-pitch"
	HeadTilt           = "head-tilt"
	BedRoll            = "bed-roll"
	BedPitch           = "bed-pitch"
	TrueShape          = "true-shape"
	LooseCarriage      = "loose-carriage"
	WornWheels         = "worn-wheels"
	ProbeNotRepeatable = "probe-not-repeatable"
	DriftFound         = "drift"
	NoLever            = "no-lever"
	Repair             = "repair"
	Undetermined       = "undetermined"
)

// Reason says why something cannot be told, and what to do about it.
type Reason struct {
	Code string `json:"code"`
	Text string `json:"text"`
	Hint string `json:"hint"`
}

// Error makes a Reason an error, for those who want one.
func (r *Reason) Error() string { return r.Text }

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
	return judge(clean(run))
}
