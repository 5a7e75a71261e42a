package api

// Forecast is what is ahead of a run: how long, and how well it will know. It is
// made before the run is confirmed, before each step and after each record.
// Lengths are mm, times s; a part is nil for a step that the run has not.
type Forecast struct {
	// Measured says that scatter and time of a touch are this run's own; before
	// the repeat test they are what is usual.
	Measured bool    `json:"measured"`
	Scatter  float64 `json:"scatter"`
	Touch    float64 `json:"touch_s"`
	Record   float64 `json:"record_s"`
	// Left is how long what is still to be done takes, all steps.
	Left    float64         `json:"left_s"`
	Repeat  *RepeatForecast `json:"repeat"`
	Gauging *GaugeForecast  `json:"gauging"`
	Survey  *SurveyForecast `json:"survey"`
	// Says is all of it in words.
	Says string `json:"says"`
}

// RepeatForecast is the repeat test.
type RepeatForecast struct {
	Touches int     `json:"touches"`
	Time    float64 `json:"s"`
}

// GaugeForecast is the work at the blade. Records were made, Left are planned, Most
// is where the lean plan ends at the latest, nil in the full one. Now is the
// largest 95 % half width in the gauged area, Straight and Bent those expected at
// the end for a gap error that is a plain slope, and for one that bends; nil where
// they cannot be told.
type GaugeForecast struct {
	Records  int      `json:"records"`
	Left     int      `json:"left"`
	Most     *int     `json:"most"`
	Time     float64  `json:"s"`
	Now      *float64 `json:"u95_now"`
	Straight *float64 `json:"u95_straight"`
	Bent     *float64 `json:"u95_bent"`
	Target   float64  `json:"target"`
}

// SurveyForecast is the survey; Chosen says that the planner chose what nobody
// gave. U95 is the expected largest 95 % half width of the left-right profile
// against the zero place, nil where the columns are too few to tell it.
type SurveyForecast struct {
	Columns   int      `json:"columns"`
	Rows      int      `json:"rows"`
	Repeats   int      `json:"repeats"`
	BaseEvery int      `json:"base_every"`
	Touches   int      `json:"touches"`
	Time      float64  `json:"s"`
	U95       *float64 `json:"u95"`
	Target    float64  `json:"target"`
	Chosen    bool     `json:"chosen"`
}
