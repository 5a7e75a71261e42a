package api

import (
	"encoding/json"
	"slices"
	"time"

	"abbed/probe/record"
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
	ID   string `json:"id" about:"what to send back"`
	Text string `json:"text" about:"what to read"`
}

// NewRun is the body of POST runs.
type NewRun struct {
	Steps    []string `json:"steps" about:"repeat, gauging, survey, plate-turn, coupons, angles, reference" wanted:"at least one step is wanted: repeat, gauging, survey, plate-turn, coupons, angles, reference" minItems:"1"`
	Attended bool     `json:"attended,omitempty" about:"someone stands at the machine and has confirmed the cautions: if the owner has set attended_starts the run begins at once, else it waits as ever"`
	Heat     *Heat    `json:"heat,omitempty" about:"Heat up before anything is measured; a part that is left out takes the owner's setting. The run then has one caution more, and switches the heaters off at its end."`
	Quick    bool     `json:"quick,omitempty" about:"a survey as small as that of the calendar's check"`
	For      string   `json:"for,omitempty" about:"an earlier run that has ended: this one gauges the zero point and then the places that the earlier run still asks for, and its records join the earlier run's once it has ended; steps are gauging, or repeat and gauging"`
}

// Heat is what a run heats, degrees C; 0 heats nothing. In a question a nil part
// takes the owner's setting.
type Heat struct {
	Nozzle *float64 `json:"nozzle,omitempty" about:"degrees C; 0: not heated"`
	Bed    *float64 `json:"bed,omitempty" about:"degrees C; 0: not heated"`
}

// Confirm is the body of POST runs/{id}/confirm.
type Confirm struct {
	Cautions []string `json:"cautions" about:"ids of the cautions that the person has read and confirms"`
	Person   string   `json:"person" about:"who gives the word"`
	Gauge    *float64 `json:"gauge_mm,omitempty" about:"thickness of the feeler gauge" minimum:"0.02" maximum:"0.3" default:"0.1"`
	Paper    bool     `json:"paper,omitempty" about:"a sheet of paper stands in for the feeler gauge: its thickness and its drag are less certain"`
}

// Progress counts what a step does.
type Progress struct {
	Done int      `json:"done"`
	Of   int      `json:"of" about:"0 if it cannot be told"`
	ETA  *float64 `json:"eta_s" about:"time left in this step, s"`
}

// Wanted is the number that goes with an answer.
type Wanted = record.Wanted

// Prompt is a question to the person.
type Prompt struct {
	ID   string `json:"id"`
	Text string `json:"text"`
	// Value is the number that goes with a yes, nil if none is wanted.
	Value *Wanted `json:"value"`
}

// Spot is the gauging place in hand.
type Spot struct {
	Index     int     `json:"index" about:"from 0, the zero point"`
	U         float64 `json:"u"`
	V         float64 `json:"v"`
	Z         float64 `json:"z" about:"where the nozzle is"`
	Predicted float64 `json:"predicted_z" about:"where the nozzle is expected to touch the bed; the gauge drags higher by its thickness"`
	Floor     float64 `json:"floor_z" about:"the nozzle is never lowered below"`
	NextStep  float64 `json:"next_step" about:"how far loose takes the nozzle down; 0 at the floor"`
	Records   int     `json:"records" about:"readings made here"`
	// Wanted is how many records the plan takes here, Of how many places.
	Wanted  int          `json:"wanted" about:"readings planned here"`
	Of      int          `json:"of" about:"points planned"`
	Gauge   float64      `json:"gauge_mm" about:"thickness of the feeler gauge"`
	Heights []float64    `json:"heights" about:"bed contacts recorded here"`
	Ahead   [][2]float64 `json:"ahead" about:"places still planned as [u, v], mm, in their order"`
}

// Run is the state of a run.
type Run struct {
	ID        string    `json:"id" about:"sorts by time"`
	State     State     `json:"state" about:"awaiting-person: a prompt; awaiting-gauge: a place; awaiting-next: recorded or skipped, Z is up" enum:"awaiting-confirmation,running,awaiting-person,awaiting-gauge,awaiting-next,done,stopped,failed"`
	Step      string    `json:"step" enum:",prepare,repeat,gauging,survey,plate-turn,coupons,angles,reference,prove,analysis"`
	Steps     []string  `json:"steps" about:"what was asked for"`
	Began     time.Time `json:"began"`
	Progress  Progress  `json:"progress"`
	Prompt    *Prompt   `json:"prompt"`
	Place     *Spot     `json:"place"`
	Error     *Error    `json:"error"`
	Cautions  []Caution `json:"cautions,omitempty" about:"to be confirmed before the run begins"`
	Sentence  string    `json:"sentence" about:"where the run stands, for people"`
	Unwatched bool      `json:"unwatched" about:"whether no one needs to be at the machine any more"`
	Touches   int       `json:"touches"`
	Gaugings  int       `json:"gaugings" about:"readings at the feeler gauge"`
	Number    int64     `json:"number" about:"of the run's last event"`
	Heat      *Heat     `json:"heat,omitempty" about:"what the run heats; absent if nothing"`
	For       string    `json:"for,omitempty" about:"the earlier run that this one gauges more for; absent for a run of its own"`
	Later     []string  `json:"later,omitempty" about:"the runs that gauge more for this one, as far as they are kept, the earliest first; absent if there are none; what became of their readings says the analysis"`
	Forecast  *Forecast `json:"forecast,omitempty" about:"what is ahead; absent where nothing can be predicted, and once the run is over"`
}

// Proves reports whether the run gauges a correction that is in force: it tells of that,
// and nothing of the machine.
func (r Run) Proves() bool { return slices.Contains(r.Steps, "prove") }

// AnswerPrompt is the body of POST runs/{id}/answer.
type AnswerPrompt struct {
	Prompt string   `json:"prompt" about:"id of the prompt"`
	Answer string   `json:"answer" enum:"yes,no"`
	Value  *float64 `json:"value,omitempty" about:"where the prompt asks for one"`
}

// GaugeAction is the body of POST runs/{id}/gauge. Action is what the person feels,
// loose, drags or tight, or skip, forget or next.
type GaugeAction struct {
	Action string `json:"action" enum:"loose,drags,tight,skip,next,forget"`
}

// Record is a whole run: the JSON of record.Run.
type Record = json.RawMessage
