package probe

import (
	"time"

	"abbed/gcode/clock"
	"abbed/probe/record"
)

// Phase says whom a run waits for.
type Phase string

// Phases.
const (
	PhaseWorking Phase = "working" // for the machine
	PhaseGauge   Phase = "gauge"   // for the person at the blade
	PhaseNext    Phase = "next"    // for the person to clear hand and blade
	PhasePerson  Phase = "person"  // for the person to answer a question
)

// Spot is the gauging place in hand.
type Spot struct {
	Index     int
	Place     record.Place
	Z         float64
	Predicted float64
	Floor     float64
	NextStep  float64 // by which loose takes the nozzle down; 0: the floor allows none
	Records   int
	Wanted    int
	Of        int
	Blade     float64
	// Contacts are the bed contacts recorded here, mm.
	Contacts []float64
	// Ahead are the places still planned, in their order.
	Ahead []record.Place
}

// View is where a run stands, beyond what its events say.
type View struct {
	Phase Phase
	Step  record.Step
	// Done of Of things of the step; Left is how long the rest takes, or nil if
	// that cannot be told.
	Done, Of int
	Left     *time.Duration
	Spot     *Spot
	// Question is what the person is asked, nil if nothing.
	Question *record.Question
	// Sentence says it for people.
	Sentence string
	// Unwatched says that nobody needs to be there any more.
	Unwatched bool
	Homed     bool
	// Forecast is what is ahead, as it was last foretold.
	Forecast Forecast
}

// meter counts what a step does and tells how long the rest takes.
type meter struct {
	clk   *clock.Clock
	began time.Time
	done  int
	of    int
}

func newMeter(clk *clock.Clock, of int) *meter { return &meter{clk: clk, began: clk.Now(), of: of} }

// left returns the mean time of what is done times what is left, nil before
// the third.
func (m *meter) left() *time.Duration {
	if m.done < 3 {
		return nil
	}
	d := time.Duration(float64(m.clk.Since(m.began)) / float64(m.done) * float64(max(0, m.of-m.done)))
	return &d
}
