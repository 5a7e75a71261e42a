package record

import (
	"encoding/json"
	"fmt"
	"time"
)

// Version is the version of the event format that this package writes: 2 knows
// Warmth and Opened.Heat, 3 Opened.For and Joined, 4 Touch.Levelled and
// Gauging.Levelled.
const Version = 4

// levelledSince is the first version that says in which state a touch was made.
const levelledSince = 4

// joinedSince is the first version that knows Joined.
const joinedSince = 3

// Step is a part of a run.
type Step string

// Steps in the order in which they run, whatever the order asked.
const (
	StepPrepare   Step = "prepare"
	StepRepeat    Step = "repeat"
	StepGauging   Step = "gauging"
	StepSurvey    Step = "survey"
	StepPlateTurn Step = "plate-turn"
	StepCoupons   Step = "coupons"
	StepReference Step = "reference"
	StepAngles    Step = "angles"
	StepProve     Step = "prove"
	StepAnalysis  Step = "analysis"
)

// Switch is something of the printer that a run switches off and on again.
type Switch string

// Switches.
const (
	SwitchLevelling Switch = "levelling" // the stored levelling
	SwitchLimits    Switch = "limits"    // the travel limits
	SwitchIdle      Switch = "idle"      // the idle switch-off of the motors
	SwitchHeaters   Switch = "heaters"   // heat that the run asked for
	// SwitchUnlevelled is owed where the stored levelling was off before the run and
	// was left on.
	SwitchUnlevelled Switch = "levelling-off"
)

// End says how a run ended.
type End string

// Ends.
const (
	EndDone    End = "done"
	EndStopped End = "stopped"
	EndFailed  End = "failed"
)

// Event is one thing that happened in a run; exactly one body is not nil.
type Event struct {
	// N counts from 1 within the run, without gaps.
	N int64 `json:"n"`
	// T is s since the run's start, on a monotonic clock.
	T float64 `json:"t"`
	// Wall is the wall clock then, for people; nothing is computed from it.
	Wall time.Time `json:"wall"`

	Opened    *Opened    `json:"opened,omitempty"`
	Confirmed *Confirmed `json:"confirmed,omitempty"`
	Began     *Began     `json:"began,omitempty"`
	Touch     *Touch     `json:"touch,omitempty"`
	Arrived   *Arrived   `json:"arrived,omitempty"`
	Pressed   *Pressed   `json:"pressed,omitempty"`
	Gauging   *Gauging   `json:"gauging,omitempty"`
	Forgot    *Forgot    `json:"forgot,omitempty"`
	Map       *Map       `json:"map,omitempty"`
	Settings  *Settings  `json:"settings,omitempty"`
	Question  *Question  `json:"question,omitempty"`
	Answer    *Answer    `json:"answer,omitempty"`
	Reading   *Reading   `json:"reading,omitempty"`
	Laid      *Laid      `json:"laid,omitempty"`
	Joined    *Joined    `json:"joined,omitempty"`
	Switched  *Switched  `json:"switched,omitempty"`
	Cut       *Cut       `json:"cut,omitempty"`
	Note      *Note      `json:"note,omitempty"`
	Warmth    *Warmth    `json:"warmth,omitempty"`
	Fault     *Problem   `json:"fault,omitempty"`
	Ended     *Ended     `json:"ended,omitempty"`
}

// Opened is the first event of every run.
type Opened struct {
	Version int    `json:"version"`
	ID      string `json:"id"`
	Steps   []Step `json:"steps"`
	// By says who asked: "page", "api", "button", a person's name.
	By    string `json:"by,omitempty"`
	Setup Setup  `json:"setup"`
	// Proof is what a run with the step prove is to prove, nil otherwise.
	Proof *Proof `json:"proof,omitempty"`
	// Heat is what the run heats, as the person asked; nil for a run as it is.
	Heat *Heat `json:"heat,omitempty"`
	// For is the earlier run that this one gauges more places for, "" for none.
	For string `json:"for,omitempty"`
}

// Proof says where an applied table is gauged with the levelling on, and what is
// to be found there if it is right.
type Proof struct {
	Digest string `json:"digest"`
	// Place is the node with the most negative addition.
	Place Place `json:"place"`
	// Predicted is the height at which the nozzle meets the bed there, mm, in
	// levelled Z: minus the level of the person's Z offset.
	Predicted float64 `json:"predicted"`
	// U95 is the half width of the 95 % interval of Predicted, mm, the table's own
	// doubt in it: what the approach keeps clear of.
	U95 float64 `json:"u95"`
	// PredictedU is the standard uncertainty of Predicted alone, mm: that of the level.
	PredictedU float64 `json:"predicted_u,omitempty"`
	// LevelOpen says that the level is not known, as after printed patches alone: the zero
	// point, where the correction moves nothing, is gauged as well, and stands for it.
	LevelOpen bool `json:"level_open,omitempty"`
}

// Confirmed is a person's word that the bed is clear, the head moves freely
// and the power switch is within reach.
type Confirmed struct {
	Person   string   `json:"person"`
	Cautions []string `json:"cautions"`
	// Blade is the thickness of the feeler gauge, mm.
	Blade float64 `json:"blade"`
	// Paper says that it is a sheet of paper and no feeler gauge.
	Paper bool `json:"paper,omitempty"`
}

// Began says that a step began; Of is how many things it expects to do.
type Began struct {
	Step Step `json:"step"`
	Of   int  `json:"of"`
}

// Arrived says that the nozzle stands above a gauging place, ready to be
// lowered by the person.
type Arrived struct {
	Spot      int     `json:"spot"`
	Visit     int     `json:"visit"`
	Place     Place   `json:"place"`
	Z         float64 `json:"z"`
	Predicted float64 `json:"predicted"`
	Floor     float64 `json:"floor"`
}

// Pressed is one action of the person at the blade.
type Pressed struct {
	// Action is lower, raise, skip or next.
	Action string  `json:"action"`
	MM     float64 `json:"mm,omitempty"`
	// Z is the nozzle's height after it, mm.
	Z float64 `json:"z"`
}

// Forgot takes the record with event number Gauging back.
type Forgot struct {
	Gauging int64 `json:"gauging"`
}

// Settings is the printer's report of its settings, as it printed it.
type Settings struct {
	Text string `json:"text"`
}

// Question is put to the person and waits for an Answer.
type Question struct {
	ID   string `json:"id"`
	Text string `json:"text"`
	// Value is the number that goes with a yes, nil if none is wanted.
	Value *Wanted `json:"value,omitempty"`
}

// Wanted describes a number that a Question asks for.
type Wanted struct {
	// Unit is mm or deg.
	Unit string `json:"unit" enum:"mm,deg"`
	// Least and Most bound what is taken.
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

// Answer is the person's answer to a Question.
type Answer struct {
	ID     string   `json:"id"`
	Yes    bool     `json:"yes"`
	Value  *float64 `json:"value,omitempty"`
	Person string   `json:"person,omitempty"`
}

// Switched says that a switch of the printer now stands at On.
type Switched struct {
	What Switch `json:"what"`
	On   bool   `json:"on"`
}

// Cut says that the run ended before its last step for a reason that is a
// finding: a failed gate, a contact past the floor, no room under the nozzle.
type Cut struct {
	// Finding is the identifier of the finding.
	Finding string `json:"finding"`
	// Code is the particular case: gate, past-floor, gap-too-large, no-room,
	// zero-past-floor.
	Code string `json:"code"`
	// Text says it in a sentence, Next what to do.
	Text string `json:"text"`
	Next string `json:"next"`
}

// Note is something worth keeping that changes nothing.
type Note struct {
	Text string `json:"text"`
}

// Ended is the last event of a run.
type Ended struct {
	State End `json:"state"`
	// Owed lists the switches that could not be put back.
	Owed []Switch `json:"owed,omitempty"`
}

// bodies returns how many bodies the event has.
func (e Event) bodies() int {
	n := 0
	for _, there := range []bool{
		e.Opened != nil, e.Confirmed != nil, e.Began != nil, e.Touch != nil,
		e.Arrived != nil, e.Pressed != nil, e.Gauging != nil, e.Forgot != nil,
		e.Map != nil, e.Settings != nil, e.Question != nil, e.Answer != nil, e.Reading != nil, e.Laid != nil, e.Joined != nil,
		e.Switched != nil, e.Cut != nil, e.Note != nil, e.Warmth != nil, e.Fault != nil, e.Ended != nil,
	} {
		if there {
			n++
		}
	}
	return n
}

// Decode reads one event from JSON, strictly: a body of no kind or of two is
// an error.
func Decode(b []byte) (Event, error) {
	var e Event
	if err := json.Unmarshal(b, &e); err != nil {
		return Event{}, fmt.Errorf("record: read event: %w", err)
	}
	if n := e.bodies(); n != 1 {
		return Event{}, fmt.Errorf("record: event %d has %d bodies, want one", e.N, n)
	}
	return e, nil
}
