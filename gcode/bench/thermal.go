package bench

import "math"

const roomTemp = 22.0 // deg C

// heater is one heater: it nears its target exponentially and cools alike.
type heater struct {
	target float64 // deg C, 0 for off
	from   float64 // temperature when the target was set
	since  float64 // virtual time then
	tau    float64 // s
}

func (h heater) at(t float64) float64 {
	goal := max(h.target, roomTemp)
	return goal + (h.from-goal)*math.Exp(-(t-h.since)/h.tau)
}

// set gives a new target at virtual time t.
func (h *heater) set(target, t float64) {
	h.from, h.since, h.target = h.at(t), t, target
}

// reached returns the virtual time at which it is within one degree.
func (h heater) reached() float64 {
	goal := max(h.target, roomTemp)
	if d := math.Abs(h.from - goal); d > 1 {
		return h.since + h.tau*math.Log(d)
	}
	return h.since
}

// Heat sets the heaters' targets as somebody at the printer's own display does.
func (p *Printer) Heat(nozzle, bed float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i, c := range [...]float64{nozzle, bed} {
		p.heaters[i].set(c, p.now())
	}
}
