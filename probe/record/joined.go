package record

import "time"

// Joined are the gaugings of another run of the same printer, which was made for
// this one after it had ended: what that run by itself tells of the gap error, with
// one constant of its own that nobody knows (its Z offset, its blade). It stands in
// the log of the run that it was made for, once for each other run, so that nothing
// is lost when the other run is dropped.
type Joined struct {
	// N is the number of its event.
	N int64 `json:"n"`
	// Run is the other run, Began when it was made.
	Run   string    `json:"run"`
	Began time.Time `json:"began"`
	// Gaps are its records at the blade, those that it set aside left out.
	Gaps []GapReading `json:"gaps"`
	// Aside counts the records that the other run itself set aside.
	Aside int `json:"aside,omitempty"`
	// Warmth is how warm nozzle and bed were on average while it was gauged, nil if
	// the printer did not say.
	Warmth *Warmth `json:"warmth,omitempty"`
	// Cut is why the other run ended early, nil if it did not.
	Cut *Cut `json:"cut,omitempty"`
}

// GapReading is one record at the blade as a direct reading of the gap error.
type GapReading struct {
	// Event is the number of the record in its own run.
	Event int64 `json:"event"`
	Place Place `json:"place"`
	// G is the probe's height less the nozzle's own, mm, up to the constant of its
	// run; U its standard uncertainty: the hand's scatter in that run, and the
	// touches'.
	G float64 `json:"g"`
	U float64 `json:"u"`
}

// mostGaps is how many records of another run are taken: far more than a person
// gauges (common practice, no source).
const mostGaps = 200

// lengths are the readings by name, mm.
func (j Joined) lengths() map[string]float64 {
	out := map[string]float64{}
	for _, g := range j.Gaps {
		for name, v := range map[string]float64{"x": g.Place.U, "y": g.Place.V, "g": g.G, "u": g.U} {
			out[name] = max(out[name], v, -v) // what is no number stays
		}
	}
	return out
}
