package mechanics

import "math"

const RoomTemp = 22.0 // deg C

// Heater is one heater: it nears its target exponentially and cools alike.
type Heater struct {
	Target float64 // deg C, 0 for off
	from   float64 // temperature when the target was set
	since  float64 // virtual time then
	tau    float64 // s
}

// NewHeater returns a cold heater with a time constant, s.
func NewHeater(tau float64) Heater { return Heater{from: RoomTemp, tau: tau} }

// At is its temperature at virtual time t.
func (h Heater) At(t float64) float64 {
	goal := max(h.Target, RoomTemp)
	return goal + (h.from-goal)*math.Exp(-(t-h.since)/h.tau)
}

// Set gives a new target at virtual time t.
func (h *Heater) Set(Target, t float64) {
	h.from, h.since, h.Target = h.At(t), t, Target
}

// Reached returns the virtual time at which it is within one degree.
func (h Heater) Reached() float64 {
	goal := max(h.Target, RoomTemp)
	if d := math.Abs(h.from - goal); d > 1 {
		return h.since + h.tau*math.Log(d)
	}
	return h.since
}
