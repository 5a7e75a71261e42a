package api

import "abbed/analysis"

// What an analysis says of itself is shown as it is.
type (
	Measured = analysis.Measured
	Finding  = analysis.Finding
	Period   = analysis.Period
	Ride     = analysis.Ride
	Tell     = analysis.Tell
)

// Stability is what the repeat test and the returns to the base point tell.
// A quantity that was not measured is nil.
type Stability struct {
	Scatter    *Measured `json:"scatter"`
	FirstTouch *Measured `json:"first_touch"`
	DriftRate  *Measured `json:"drift_rate"`
	DriftModel string    `json:"drift_model,omitempty"`
	PlayX      *Measured `json:"play_x"`
	PlayY      *Measured `json:"play_y"`
	Wander     *Measured `json:"wander"`
	// Ride is what the survey tells of the carriage's ride; nil without a survey
	// that is dense enough.
	Ride     *Ride     `json:"ride"`
	SetAside []Outlier `json:"set_aside" about:"stray touches of repeat test, passes and survey"`
	Steady   bool      `json:"steady" about:"every gate passed"`
	Failed   string    `json:"failed,omitempty" about:"the finding of the first gate that failed"`
}

// Profile is the left-to-right shape of the map with its evidence.
type Profile struct {
	X      []float64 `json:"x"`
	Effect []float64 `json:"effect"`
	U      []float64 `json:"u"`
	// Front and Back are the same from the front and the back half.
	Front   []float64 `json:"front"`
	Back    []float64 `json:"back"`
	Repeats float64   `json:"repeats" about:"share of the map's shape that repeats from front to back"`
	Unit    string    `json:"unit"`
}

// Term is what one error motion makes of the gap error, where it makes most.
type Term struct {
	Name string   `json:"name" about:"what makes it: an error motion"`
	At   Measured `json:"at"`
}

// Outlier is a gauging or touch that does not fit; it is listed, not dropped.
type Outlier struct {
	Event  int64   `json:"event"`
	U      float64 `json:"u"`
	V      float64 `json:"v"`
	Off    float64 `json:"off" about:"mm"`
	Weight float64 `json:"weight" about:"0"`
}

// Model is what was fitted.
type Model struct {
	Terms      []Term    `json:"terms" about:"what each makes of the nozzle error where it makes most"`
	Scatter    *Measured `json:"scatter"`
	LackOfFitF *float64  `json:"lack_of_fit_f"`
	LackOfFitP *float64  `json:"lack_of_fit_p"`
	Outliers   []Outlier `json:"outliers" about:"listed, not dropped"`
}

// Analysis is what a run tells.
type Analysis struct {
	Stability Stability `json:"stability"`
	Profile   *Profile  `json:"profile"`
	Share     *Measured `json:"share"`
	ShareWhy  string    `json:"share_why,omitempty" about:"why there is no share"`
	Model     *Model    `json:"model"`
	// Level: + means that the Z offset is too high.
	Level    *Measured `json:"level"`
	Largest  *Measured `json:"largest_gap"`
	Findings []Finding `json:"findings" about:"the first weighs most"`
	Wedge    *Wedge    `json:"wedge,omitempty" about:"of a run without a survey"`
	Tells    []Tell    `json:"tells,omitempty" about:"what can be told with which way of seeing"`
	// More is where one more gauging would help most; nil if none is wanted.
	More  *More   `json:"more_gauging"`
	Later []Later `json:"later,omitempty" about:"the readings of later runs that were made for this one (runs with for), the earliest first"`
}

// More is where one more record at the blade would help most.
type More struct {
	U     float64 `json:"u" about:"where one more reading would help most, of the bed, mm"`
	V     float64 `json:"v" about:"where one more reading would help most, of the bed, mm"`
	Again bool    `json:"again" about:"it was gauged before"`
	// Now is the largest 95 % half width in the gauged area, After what it would
	// be with one more record there, mm; nil while the gap error is not told.
	Now   *float64 `json:"now" about:"largest 95 % half width in the gauged area, mm"`
	After *float64 `json:"after" about:"the same with one more record there, mm"`
	Why   string   `json:"why" about:"what is still open"`
	// Left is how many records a later run for it takes until this place is gauged,
	// Time about how long they take, s; 0 where the setup is not known.
	Left int     `json:"records" about:"that a later run for this one takes until the place is gauged"`
	Time float64 `json:"time_s" about:"about how long they take"`
}

// AskGap is the body of POST runs/{id}/gap.
type AskGap struct {
	Points [][2]float64 `json:"points" about:"[u, v] pairs, mm" maxItems:"4000"`
}

// Gap is the predicted gap error at one point: Gap and U95, mm, or a nil Gap
// and the reason.
type Gap struct {
	Gap    *float64 `json:"gap" about:"mm; + = the nozzle is too high"`
	U95    *float64 `json:"u95,omitempty" about:"95 % half width, mm"`
	Reason string   `json:"reason,omitempty"`
}
