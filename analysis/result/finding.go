package result

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

// Codes of why there is no table; a finding that forbids a table is FindingPrefix + its
// identifier.
const (
	NotNeeded      = "not-needed"
	MapStale       = "map-stale"
	MapAreaUnknown = "map-area-unknown"
	NoGauging      = "no-gauging"
	NoSurvey       = "no-survey"
	NodeTooFar     = "node-too-far"
	TooLarge       = "too-large"
	TooSteep       = "too-steep"
	TooUncertain   = "too-uncertain"
	FindingPrefix  = "finding-"
)
