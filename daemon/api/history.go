package api

import (
	"time"

	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/analysis/steady"
)

// What two runs say of each other is shown as it is.
type (
	PlaceGap    = analysis.PlaceGap
	PlaceChange = compare.PlaceChange
	HeatChange  = steady.HeatChange
	Wedge       = analysis.Wedge
	Later       = analysis.Later
)

// Change is one quantity in two runs, and what became of it.
type Change struct {
	What     string   `json:"what" about:"names the quantity: twist, pitch, scatter, play-x, play-y, level"`
	Says     string   `json:"says"`
	Before   Measured `json:"before"`
	After    Measured `json:"after"`
	By       Measured `json:"by" about:"after less before; for a ratio after over before"`
	Ratio    bool     `json:"ratio" about:"of two standard deviations: no change is 1"`
	Beyond   bool     `json:"beyond" about:"the 95 % interval of by leaves out no change"`
	Sentence string   `json:"sentence"`
}

// Comparison is what changed from one run to a later one.
type Comparison struct {
	Before        string       `json:"before" about:"id of the earlier run"`
	After         string       `json:"after" about:"id of the later run"`
	Sentence      string       `json:"sentence" about:"what matters first"`
	Changes       []Change     `json:"changes"`
	Not           []string     `json:"not" about:"what cannot be compared, and why"`
	Most          *PlaceChange `json:"most" about:"where the nozzle error changed most beyond the doubt of all places together (Scheffe)"`
	LargestBefore *PlaceGap    `json:"largest_before"`
	LargestAfter  *PlaceGap    `json:"largest_after"`
	// Left is what the correction in force in that run leaves of its gap error.
	LeftBefore *PlaceGap   `json:"left_before"`
	LeftAfter  *PlaceGap   `json:"left_after"`
	Gone       []string    `json:"gone" about:"findings of the earlier run alone"`
	Stay       []string    `json:"stay" about:"of both"`
	Come       []string    `json:"come" about:"of the later run alone"`
	Heat       *HeatChange `json:"heat" about:"Means of what was heard at the gauging, degrees C and K."`
}

// History is what the runs of one printer tell, the oldest first.
type History struct {
	Printer string  `json:"printer" about:"fingerprint"`
	Runs    []Entry `json:"runs" about:"the oldest first"`
	// Sentence says whether the head tilts otherwise than before.
	Sentence string `json:"sentence"`
}

// Entry is one run in the history; what it does not tell is nil.
type Entry struct {
	Run   string    `json:"run"`
	Began time.Time `json:"began"`
	Lever XY        `json:"lever"`
	// Twist and Pitch in deg per m.
	Twist   *Measured `json:"twist"`
	Pitch   *Measured `json:"pitch"`
	Scatter *Measured `json:"scatter"`
	Level   *Measured `json:"level"`
	Largest *Measured `json:"largest_gap"`
	Nozzle  *float64  `json:"nozzle" about:"degrees C"`
	Bed     *float64  `json:"bed" about:"degrees C"`
	Finding string    `json:"finding" about:"that weighed most"`
	// Against names the run before it that tells the same angle, and Change what
	// became of that since; both nil for the first. Why says why there is none.
	Against *string  `json:"against" about:"the run before it that tells the same angle"`
	Change  *Change  `json:"change"`
	Why     string   `json:"why,omitempty" about:"why there is no change"`
	Later   []string `json:"later,omitempty" about:"the runs that gauged more for this one, as far as they are kept, the earliest first; absent if there are none"`
}

// Lever is the gap error with one lever, or why it cannot be told.
type Lever struct {
	Lever XY `json:"lever"`
	// Largest is where |gap| with its doubt is largest; nil with Refused.
	Largest *PlaceGap `json:"largest"`
	Refused *Error    `json:"refused"`
	// Covers is the part of the bed that is told, nil with Refused.
	Covers *Rect  `json:"covers"`
	Note   string `json:"note" about:"that no probe can be mounted there, or which part of the bed is told; empty for neither"`
}

// Levers is the answer to AskLevers.
type Levers struct {
	Now    Lever   `json:"now"`
	Levers []Lever `json:"levers"`
	// Best of those within the area; nil if none was asked for or can be told.
	Best     *Lever   `json:"best"`
	Longest  *float64 `json:"longest" about:"longest lever on the line of the present one that keeps nozzle error and doubt within the tolerance, mm"`
	Least    float64  `json:"least" about:"the shortest lever at which a probe can be mounted beside the nozzle, mm; nearer ones are not looked at for the best; 0 for a nozzle that senses its own load"`
	Sentence string   `json:"sentence"`
}
