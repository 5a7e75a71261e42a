package analysis

// Refusal says why there is no table, and what to do.
type Refusal struct {
	Code string `json:"code"`
	Text string `json:"text"`
	Hint string `json:"hint"`
}

// Error makes a Refusal an error, for those who want one.
func (r *Refusal) Error() string { return r.Text }

// Codes of a Refusal; a finding that forbids a table is FindingPrefix + its
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
