package api

import "time"

// Measured is a value with its doubt; the interval covers 95 %.
type Measured struct {
	Value float64 `json:"value"`
	U     float64 `json:"u"`
	Lo95  float64 `json:"lo95"`
	Hi95  float64 `json:"hi95"`
	Unit  string  `json:"unit"`
	// DoF is nil if infinite.
	DoF *float64 `json:"dof"`
}

// Finding is a named conclusion.
type Finding struct {
	ID       string `json:"id"`
	Sentence string `json:"sentence"`
	Evidence string `json:"evidence"`
	Doubt    string `json:"doubt"`
	Next     string `json:"next"`
}

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
	Ride *Ride `json:"ride"`
	// SetAside are touches of the repeat test, the passes over the row and the
	// survey that stand alone, far off: stray ones.
	SetAside []Outlier `json:"set_aside"`
	Steady   bool      `json:"steady"`
	// Failed is the finding of the first gate that failed.
	Failed string `json:"failed,omitempty"`
}

// Ride is whether touches of the survey fit with their rows, and the periods of dips
// that stand out of chance.
type Ride struct {
	Touches int `json:"touches"`
	// Off lie off their neighbours, Low of them below.
	Off int `json:"off"`
	Low int `json:"low"`
	// Stray stand alone, far off, and are not among Off.
	Stray   int  `json:"stray"`
	Suspect bool `json:"suspect"`
	// Wanders is that of dips whose place changes from row to row, Stays of dips that stay.
	Wanders *Period `json:"wanders"`
	Stays   *Period `json:"stays"`
	// Says is all of it in words; empty where nothing stands out.
	Says string `json:"says"`
}

// Period is the period along X of dips that stand out of chance.
type Period struct {
	Length     *Measured `json:"length"`
	Depth      float64   `json:"depth"`
	FalseAlarm float64   `json:"false_alarm"`
	Rows       int       `json:"rows"`
}

// Profile is the left-to-right shape of the map with its evidence.
type Profile struct {
	X      []float64 `json:"x"`
	Effect []float64 `json:"effect"`
	U      []float64 `json:"u"`
	// Front and Back are the same from the front and the back half.
	Front []float64 `json:"front"`
	Back  []float64 `json:"back"`
	// Repeats is the share of the map's shape that repeats from front to back.
	Repeats float64 `json:"repeats"`
	Unit    string  `json:"unit"`
}

// Term is what one error motion makes of the gap error, where it makes most.
type Term struct {
	Name string   `json:"name"`
	At   Measured `json:"at"`
}

// Outlier is a gauging or touch that does not fit; it is listed, not dropped.
type Outlier struct {
	Event  int64   `json:"event"`
	U      float64 `json:"u"`
	V      float64 `json:"v"`
	Off    float64 `json:"off"`
	Weight float64 `json:"weight"`
}

// Model is what was fitted.
type Model struct {
	Terms      []Term    `json:"terms"`
	Scatter    *Measured `json:"scatter"`
	LackOfFitF *float64  `json:"lack_of_fit_f"`
	LackOfFitP *float64  `json:"lack_of_fit_p"`
	Outliers   []Outlier `json:"outliers"`
}

// Analysis is what a run tells.
type Analysis struct {
	Stability Stability `json:"stability"`
	Profile   *Profile  `json:"profile"`
	Share     *Measured `json:"share"`
	ShareWhy  string    `json:"share_why,omitempty"`
	Model     *Model    `json:"model"`
	// Level: + means that the Z offset is too high.
	Level    *Measured `json:"level"`
	Largest  *Measured `json:"largest_gap"`
	Findings []Finding `json:"findings"`
	// Wedge is the five-minute answer of a run without a survey.
	Wedge *Wedge `json:"wedge,omitempty"`
	// Tells is what can be told with which way of seeing.
	Tells []Tell `json:"tells,omitempty"`
	// More is where one more gauging would help most; nil if none is wanted.
	More *More `json:"more_gauging"`
	// Later is what became of the gaugings of later runs that were made for this
	// one, the earliest first.
	Later []Later `json:"later,omitempty"`
}

// Later is what became of the gaugings of a later run.
type Later struct {
	Run     string    `json:"run"`
	Began   time.Time `json:"began"`
	Records int       `json:"records"`
	// Aside is how many records the later run itself set aside.
	Aside int `json:"aside"`
	// Used says that they are in the fit; Contradicts that they were left out because
	// they contradict it. Text says it, or why else they are not in it.
	Used        bool `json:"used"`
	Contradicts bool `json:"contradicts"`
	// Lifted says that runs after it, which would have shown what it shows, do not: it
	// contradicts by a slip of its own.
	Lifted bool   `json:"lifted"`
	Text   string `json:"text"`
}

// More is where one more record at the blade would help most.
type More struct {
	U float64 `json:"u"`
	V float64 `json:"v"`
	// Again says that the place was gauged before.
	Again bool `json:"again"`
	// Now is the largest 95 % half width in the gauged area, After what it would
	// be with one more record there, mm; nil while the gap error is not told.
	Now   *float64 `json:"now"`
	After *float64 `json:"after"`
	Why   string   `json:"why"`
	// Left is how many records a later run for it takes until this place is gauged,
	// Time about how long they take, s; 0 where the setup is not known.
	Left int     `json:"records"`
	Time float64 `json:"time_s"`
}

// Tell is one quantity with the steps that have told it, or what would tell it.
type Tell struct {
	What  string    `json:"what"`
	Says  string    `json:"says"`
	By    []string  `json:"by"`
	Value *Measured `json:"value"`
	Text  string    `json:"text"`
	Next  string    `json:"next"`
}

// AskGap is the body of POST runs/{id}/gap.
type AskGap struct {
	Points [][2]float64 `json:"points"`
}

// Gap is the predicted gap error at one point: Gap and U95, mm, or a nil Gap
// and the reason.
type Gap struct {
	Gap    *float64 `json:"gap"`
	U95    *float64 `json:"u95,omitempty"`
	Reason string   `json:"reason,omitempty"`
}
