package api

import (
	"encoding/json"
	"slices"
	"time"
)

// State is the state of a run.
type State string

// States of a run.
const (
	AwaitingConfirmation State = "awaiting-confirmation"
	Running              State = "running"
	AwaitingPerson       State = "awaiting-person" // a prompt
	AwaitingGauge        State = "awaiting-gauge"  // a place
	AwaitingNext         State = "awaiting-next"   // recorded or skipped, Z is up
	Done                 State = "done"
	Stopped              State = "stopped"
	Failed               State = "failed"
)

// Over reports whether the run has ended.
func (s State) Over() bool { return s == Done || s == Stopped || s == Failed }

// Caution is what a person confirms.
type Caution struct {
	ID   string `json:"id"`
	Text string `json:"text"`
}

// NewRun is the body of POST runs.
type NewRun struct {
	Steps []string `json:"steps"`
	// Attended says that somebody stands at the machine and has confirmed what
	// a run asks: it begins at once if the owner has allowed attended starts,
	// and waits for the confirmation as ever if not.
	Attended bool `json:"attended,omitempty"`
	// Heat asks for heat; nil runs as the machine is.
	Heat *Heat `json:"heat,omitempty"`
	// Quick makes the survey as small as that of the calendar's check.
	Quick bool `json:"quick,omitempty"`
	// For is an earlier run: this one gauges the places that it still asks for, and
	// its records join the earlier run's. The steps are gauging, or repeat and
	// gauging.
	For string `json:"for,omitempty"`
}

// Heat is what a run heats, degrees C; 0 heats nothing. In a question a nil part
// takes the owner's setting.
type Heat struct {
	Nozzle *float64 `json:"nozzle"`
	Bed    *float64 `json:"bed"`
}

// Confirm is the body of POST runs/{id}/confirm.
type Confirm struct {
	Cautions []string `json:"cautions"`
	Person   string   `json:"person"`
	// Gauge is the blade's thickness, mm; nil means 0.10.
	Gauge *float64 `json:"gauge_mm,omitempty"`
	// Paper says that a sheet of paper stands in for the blade: its thickness and
	// its drag are less certain.
	Paper bool `json:"paper,omitempty"`
}

// Progress counts what a step does.
type Progress struct {
	Done int `json:"done"`
	Of   int `json:"of"`
	// ETA is the time left in this step, s; nil if it cannot be told.
	ETA *float64 `json:"eta_s"`
}

// Prompt is a question to the person.
type Prompt struct {
	ID   string `json:"id"`
	Text string `json:"text"`
	// Value is the number that goes with a yes, nil if none is wanted.
	Value *Wanted `json:"value"`
}

// Wanted describes a number that a prompt asks for; Unit is mm or deg.
type Wanted struct {
	Unit  string  `json:"unit"`
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

// Spot is the gauging place in hand.
type Spot struct {
	Index     int     `json:"index"`
	U         float64 `json:"u"`
	V         float64 `json:"v"`
	Z         float64 `json:"z"`
	Predicted float64 `json:"predicted_z"`
	Floor     float64 `json:"floor_z"`
	// NextStep is how far loose takes the nozzle down, mm; 0 at the floor.
	NextStep float64 `json:"next_step"`
	Records  int     `json:"records"`
	// Wanted is how many records the plan takes here, Of how many places.
	Wanted int `json:"wanted"`
	Of     int `json:"of"`
	// Gauge is the blade's thickness, mm.
	Gauge float64 `json:"gauge_mm"`
	// Heights are the bed contacts recorded here, mm.
	Heights []float64 `json:"heights"`
	// Ahead are the places still planned as (u, v), mm, in their order.
	Ahead [][2]float64 `json:"ahead"`
}

// Run is the state of a run.
type Run struct {
	ID       string    `json:"id"`
	State    State     `json:"state"`
	Step     string    `json:"step"`
	Steps    []string  `json:"steps"`
	Began    time.Time `json:"began"`
	Progress Progress  `json:"progress"`
	Prompt   *Prompt   `json:"prompt"`
	Place    *Spot     `json:"place"`
	Error    *Error    `json:"error"`
	// Cautions to confirm, while the run awaits it.
	Cautions []Caution `json:"cautions,omitempty"`
	// Sentence says where the run stands, for people.
	Sentence string `json:"sentence"`
	// Unwatched says that nobody needs to be at the machine any more.
	Unwatched bool `json:"unwatched"`
	Touches   int  `json:"touches"`
	Gaugings  int  `json:"gaugings"`
	// Number is the number of the run's last event.
	Number int64 `json:"number"`
	// Heat is what the run heats, nil if nothing.
	Heat *Heat `json:"heat,omitempty"`
	// For is the earlier run that this one gauges more for, "" for none.
	For string `json:"for,omitempty"`
	// Later are the runs that gauge more for this one as far as they are kept, the
	// earliest first; what became of their gaugings says the analysis.
	Later []string `json:"later,omitempty"`
	// Forecast is what is ahead; nil once the run is over.
	Forecast *Forecast `json:"forecast,omitempty"`
}

// Proves reports whether the run gauges a correction that is in force: it tells of that,
// and nothing of the machine.
func (r Run) Proves() bool { return slices.Contains(r.Steps, "prove") }

// AnswerPrompt is the body of POST runs/{id}/answer.
type AnswerPrompt struct {
	Prompt string   `json:"prompt"`
	Answer string   `json:"answer"`
	Value  *float64 `json:"value,omitempty"`
}

// GaugeAction is the body of POST runs/{id}/gauge. Action is what the person feels,
// loose, drags or tight, or skip, forget or next.
type GaugeAction struct {
	Action string `json:"action"`
}

// Record is a whole run: the JSON of record.Run.
type Record = json.RawMessage
