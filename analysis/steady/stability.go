package steady

import (
	"math"

	"abbed/analysis/result"
	"abbed/probe/record"
)

// Stability is whether the machine does the same thing twice: the quantities
// of the repeat test, each nil where it was not measured, and the gates that
// they decide. Lengths are mm.
type Stability struct {
	// Touches is how many touches of the repeat test were used.
	Touches int `json:"touches"`
	// Scatter is the standard deviation of one touch, after drift, side of
	// approach and the first touch were taken out.
	Scatter *result.Measured `json:"scatter"`
	// Step is the step of the reported heights and StepU its standard
	// uncertainty, Type B (step/sqrt(12), JCGM 100:2008, F.2.2.1).
	Step  float64 `json:"step"`
	StepU float64 `json:"step_u"`
	// First is how much higher the first touch was than the later ones.
	First *result.Measured `json:"first_touch"`
	// Drift is how the heights moved with time.
	Drift *Drift `json:"drift"`
	// PlayX and PlayY are the reversal values B of ISO 230-2 along X and Y:
	// mean of the touches approached travelling towards + minus those towards -.
	PlayX *result.Measured `json:"play_x"`
	PlayY *result.Measured `json:"play_y"`
	// Repeatability is R of ISO 230-2 along X: max(2 s+ + 2 s- + |B|, 4 s+, 4 s-).
	Repeatability *result.Measured `json:"repeatability"`
	// Wander is how the passes over one row differ.
	Wander *Wander `json:"wander"`
	// Ride is what the survey tells of that.
	Ride *Ride `json:"ride"`
	// Outliers are touches of the repeat test, and returns to the base point, that
	// were set aside, listed.
	Outliers []Odd `json:"outliers"`
	// Strays are touches of the passes over the row that stand alone, far off;
	// they were put where their own pass foretells them.
	Strays []Odd `json:"strays"`
	// Gates are the judgements, in their order.
	Gates []Gate `json:"gates"`
}

// Drift is how the heights moved with time.
type Drift struct {
	// From says which touches tell it: "repeat" or "base".
	From string `json:"from"`
	// Kind is "level" (none seen), "slope", "settling" or "irregular".
	Kind string `json:"kind"`
	// Rate is at the end of the test, mm per minute.
	Rate *result.Measured `json:"rate"`
	// Total is from the first touch to the last, mm.
	Total *result.Measured `json:"total"`
	// Settling is the time constant of settling, s; 0 otherwise.
	Settling float64 `json:"settling,omitempty"`
	// Left is the standard uncertainty that removing it leaves in a height, mm.
	Left float64 `json:"left"`
	// Removed says that it was taken out of the heights.
	Removed bool `json:"removed"`

	// chance is the probability that steady heights look as if they drifted so.
	chance float64
}

// Wander is how the passes over one row differ, mm.
type Wander struct {
	Passes int `json:"passes"`
	// Between is the standard deviation of the height at one place between
	// passes that scatter, a constant and drift do not explain.
	Between *result.Measured `json:"between"`
	// Smooth and Local are its parts: bends of a whole pass, and places a few
	// mm wide.
	Smooth float64 `json:"smooth"`
	Local  float64 `json:"local"`
	// Noise is the short-range scatter within a pass.
	Noise float64 `json:"noise"`
	// P is the probability of as much from scatter alone.
	P float64 `json:"p"`
	// Places counts the places a few mm wide where one pass stands out.
	Places int `json:"places"`

	fired bool
}

// Odd is a touch or a gauging that does not fit with its fellows.
type Odd struct {
	N     int64        `json:"n"`
	Place record.Place `json:"place"`
	// Off is how far it lies from what the others say, mm.
	Off float64 `json:"off"`
	// Used says that it was kept, with less weight.
	Used bool   `json:"used"`
	Text string `json:"text"`
}

// Gate is one judgement of stability.
type Gate struct {
	ID string `json:"id"`
	// State is "passed", "failed" or "not-measured".
	State   string          `json:"state"`
	Finding *result.Finding `json:"finding,omitempty"`
}

// Gate states.
const (
	Passed      = "passed"
	Failed      = "failed"
	NotMeasured = "not-measured"
)

// Failed returns the finding of the first gate that failed.
func (s Stability) Failed() (result.Finding, bool) {
	for _, g := range s.Gates {
		if g.State == Failed && g.Finding != nil {
			return *g.Finding, true
		}
	}
	return result.Finding{}, false
}

// driftAlarm is the probability of telling somebody with a steady machine that it
// drifted: one in a hundred, over the repeat test and the survey together. What
// was taken out on weaker evidence costs little, and is not said.
const driftAlarm = 0.01

// Said says whether a drift that was taken out is large and certain enough.
func (d *Drift) Said(least float64) bool {
	return d != nil && d.Removed && d.chance <= driftAlarm/2 && d.Total != nil && d.Total.Apart() && math.Abs(d.Total.Value) >= least
}
