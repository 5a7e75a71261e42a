package api

// Forecast is what is ahead of a run: how long, and how well it will know. It is
// made before the run is confirmed, before each step and after each record.
// Lengths are mm, times s; a part is nil for a step that the run has not.
type Forecast struct {
	Measured bool            `json:"measured" about:"scatter and time of a touch are this run's own; else they are what is usual"`
	Scatter  float64         `json:"scatter" about:"standard deviation of one touch, mm"`
	Touch    float64         `json:"touch_s" about:"how long a touch takes"`
	Record   float64         `json:"record_s" about:"how long a reading at the feeler gauge takes"`
	Left     float64         `json:"left_s" about:"how long what is still to be done takes, all steps"`
	Repeat   *RepeatForecast `json:"repeat"`
	Gauging  *GaugeForecast  `json:"gauging"`
	Survey   *SurveyForecast `json:"survey"`
	Says     string          `json:"says" about:"all of it in words"`
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
	Records  int      `json:"records" about:"made"`
	Left     int      `json:"left" about:"planned"`
	Most     *int     `json:"most" about:"where the lean plan ends at the latest"`
	Time     float64  `json:"s" about:"of those planned"`
	Now      *float64 `json:"u95_now" about:"largest 95 % half width, mm: in the gauged area as it stands"`
	Straight *float64 `json:"u95_straight" about:"largest 95 % half width, mm: at the end, if the nozzle error is a plain slope"`
	Bent     *float64 `json:"u95_bent" about:"largest 95 % half width, mm: at the end, if it bends"`
	Target   float64  `json:"target" about:"wanted, mm"`
}

// SurveyForecast is the survey; Chosen says that the planner chose what nobody
// gave. U95 is the expected largest 95 % half width of the left-right profile
// against the zero place, nil where the columns are too few to tell it.
type SurveyForecast struct {
	Columns   int      `json:"columns"`
	Rows      int      `json:"rows"`
	Repeats   int      `json:"repeats" about:"touches at one place"`
	BaseEvery int      `json:"base_every" about:"rows between two returns to the base point"`
	Touches   int      `json:"touches" about:"all, the returns among them"`
	Time      float64  `json:"s"`
	U95       *float64 `json:"u95" about:"largest 95 % half width, mm: of the left-right profile against the zero point"`
	Target    float64  `json:"target" about:"wanted, mm"`
	Chosen    bool     `json:"chosen" about:"the planner chose what no one set"`
}
