package bench

import "abbed/gcode/bench/mechanics"

// Truth is what only the bench knows: the Body, exact and free of noise, and where
// it stands now. u, v are places on the bed, mm; heights mm.
type Truth struct {
	*mechanics.Body
	Nozzle func(u, v float64) float64 // machine Z at which the nozzle meets the bed, as homed at the time of asking, drift included
	Drift  func(t float64) float64    // of the frame after t virtual seconds
}

// Truth returns the truth. Nozzle holds for the homing and the drift of this
// moment; while Z is not homed, for a homing without noise.
func (p *Printer) Truth() Truth {
	defer p.lock()()
	b, drift := p.body, p.feeler.Drift(p.now())
	datum := b.ProbeContact(b.Zero[0], b.Zero[1]) + drift + p.lever[2]
	if p.homed[2] {
		datum = p.origin[2]
	}
	return Truth{b, func(u, v float64) float64 { return b.NozzleContact(u, v) + drift - datum }, p.feeler.Probe.Drift}
}
