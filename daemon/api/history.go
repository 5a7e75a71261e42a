package api

import "time"

// Looker looks over several runs, and at what a run would tell of another lever.
type Looker interface {
	// Compare says what changed from one run to a later one.
	Compare(before, after string) (Comparison, error)
	// History lists the runs of the present printer that tell anything of its
	// head, the oldest first.
	History() (History, error)
	// Levers foretells the gap error with the probe mounted elsewhere.
	Levers(id string, a AskLevers) (Levers, error)
}

// Change is one quantity in two runs, and what became of it.
type Change struct {
	What   string   `json:"what"`
	Says   string   `json:"says"`
	Before Measured `json:"before"`
	After  Measured `json:"after"`
	// By is after less before; where Ratio is set, after over before.
	By    Measured `json:"by"`
	Ratio bool     `json:"ratio"`
	// Beyond: the interval of By leaves out no change.
	Beyond   bool   `json:"beyond"`
	Sentence string `json:"sentence"`
}

// PlaceGap is a gap error at a place, mm.
type PlaceGap struct {
	U   float64 `json:"u"`
	V   float64 `json:"v"`
	Gap float64 `json:"gap"`
	U95 float64 `json:"u95"`
}

// PlaceChange is the gap error at a place in two runs, mm.
type PlaceChange struct {
	U         float64 `json:"u"`
	V         float64 `json:"v"`
	Before    float64 `json:"before"`
	U95Before float64 `json:"u95_before"`
	After     float64 `json:"after"`
	U95After  float64 `json:"u95_after"`
	By        float64 `json:"by"`
	U95       float64 `json:"u95"`
	// Beyond the doubt of all places together.
	Beyond bool `json:"beyond"`
}

// HeatChange compares the temperatures of two runs, degrees C and K.
type HeatChange struct {
	NozzleBefore float64 `json:"nozzle_before"`
	NozzleAfter  float64 `json:"nozzle_after"`
	BedBefore    float64 `json:"bed_before"`
	BedAfter     float64 `json:"bed_after"`
	NozzleBy     float64 `json:"nozzle_by"`
	BedBy        float64 `json:"bed_by"`
	// Apart: 10 K or more, cold against hot.
	Apart bool   `json:"apart"`
	Text  string `json:"text"`
}

// Comparison is what changed from one run to a later one.
type Comparison struct {
	Before   string   `json:"before"`
	After    string   `json:"after"`
	Sentence string   `json:"sentence"`
	Changes  []Change `json:"changes"`
	// Not lists what cannot be compared, each with the reason.
	Not           []string      `json:"not"`
	Places        []PlaceChange `json:"places"`
	Most          *PlaceChange  `json:"most"`
	LargestBefore *PlaceGap     `json:"largest_before"`
	LargestAfter  *PlaceGap     `json:"largest_after"`
	// Left is what the correction in force in that run leaves of its gap error.
	LeftBefore *PlaceGap `json:"left_before"`
	LeftAfter  *PlaceGap `json:"left_after"`
	// Findings that are gone, stayed and came.
	Gone []string    `json:"gone"`
	Stay []string    `json:"stay"`
	Come []string    `json:"come"`
	Heat *HeatChange `json:"heat"`
}

// History is what the runs of one printer tell, the oldest first.
type History struct {
	Printer string  `json:"printer"`
	Runs    []Entry `json:"runs"`
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
	// Nozzle and Bed, degrees C, as heard at the gauging.
	Nozzle *float64 `json:"nozzle"`
	Bed    *float64 `json:"bed"`
	// Finding that weighed most.
	Finding string `json:"finding"`
	// Against names the run before it that tells the same angle, and Change what
	// became of that since; both nil for the first. Why says why there is none.
	Against *string `json:"against"`
	Change  *Change `json:"change"`
	Why     string  `json:"why,omitempty"`
	// Later are the runs that gauged more for this one as far as they are kept, the
	// earliest first; they have no entry of their own.
	Later []string `json:"later,omitempty"`
}

// AskLevers asks what the gap error would be with other levers.
type AskLevers struct {
	Levers []XY
	// Within is where the probe could be mounted, mm from the nozzle; nil: no
	// place is looked for.
	Within *Rect
}

// Lever is the gap error with one lever, or why it cannot be told.
type Lever struct {
	Lever XY `json:"lever"`
	// Largest is where |gap| with its doubt is largest; nil with Refused.
	Largest *PlaceGap `json:"largest"`
	Refused *Error    `json:"refused"`
	// Covers is the part of the bed that is told, nil with Refused.
	Covers *Rect `json:"covers"`
	// Note says that no probe can be mounted there, or which part is told; "" for none.
	Note string `json:"note"`
}

// Levers is the answer to AskLevers.
type Levers struct {
	Now    Lever   `json:"now"`
	Levers []Lever `json:"levers"`
	// Best of those within the area; nil if none was asked for or can be told.
	Best *Lever `json:"best"`
	// Longest lever on the line of the present one that keeps the gap error and
	// its doubt within the tolerance, mm; nil if there is none.
	Longest *float64 `json:"longest"`
	// Least is the shortest lever at which a probe can be mounted beside the nozzle,
	// mm; 0 for a nozzle that senses its own load.
	Least    float64 `json:"least"`
	Sentence string  `json:"sentence"`
}

// Wedge is the five-minute answer.
type Wedge struct {
	// From and To are the ends of the gauged row, Row its y, mm.
	From float64 `json:"from"`
	To   float64 `json:"to"`
	Row  float64 `json:"row"`
	// By is the gap error at To less that at From.
	By Measured `json:"by"`
	// Worth says whether the whole job is worth it: yes, no or cannot-tell.
	Worth    string `json:"worth"`
	Sentence string `json:"sentence"`
	Next     string `json:"next"`
}
