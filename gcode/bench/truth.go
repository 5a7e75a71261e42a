package bench

import "abbed/gcode/bench/mechanics"

// Truth is what only the bench knows. All functions are exact and free of
// noise; u, v are places on the bed, mm; heights mm; angles rad.
type Truth struct {
	Bed, Area  mechanics.Rect
	Cols, Rows int
	Layout     string
	Lever      [2]float64
	Zero       [2]float64
	Trigger    float64 // nozzle above the bed when the probe triggers at the zero place
	Level      float64 // how far the person's Z offset is too high
	Travel     mechanics.Box

	Gap    func(u, v float64) float64    // m - n, minus the same at the zero place
	Map    func(u, v float64) float64    // touch height, 0 at the zero place
	Nozzle func(u, v float64) float64    // machine Z at which the nozzle meets the bed, as homed at the time of asking, drift included
	Shape  func(u, v float64) float64    // the bed's own height
	Roll   func(x float64) float64       // EAX
	Pitch  func(x float64) float64       // EBX
	Node   func(i, j int) (u, v float64) // the place of a node: i along X, j along Y
	Drift  func(t float64) float64       // of the frame after t virtual seconds
}

// Truth returns the truth. Nozzle holds for the homing and the drift of this
// moment; while Z is not homed, for a homing without noise.
func (p *Printer) Truth() Truth {
	defer p.lock()()
	b, m := p.body, p.body.Machine
	drift := p.feeler.Drift(p.now())
	datum := b.ProbeContact(m.Zero[0], m.Zero[1]) + drift + p.lever[2]
	if p.homed[2] {
		datum = p.origin[2]
	}
	return Truth{
		Bed: m.Bed, Area: m.Area, Cols: m.Cols, Rows: m.Rows, Layout: m.Layout,
		Lever: m.Lever, Zero: m.Zero, Trigger: m.Trigger, Level: m.Level, Travel: m.Travel,
		Gap: b.Gap, Map: b.MapValue, Shape: b.Height,
		Nozzle: func(u, v float64) float64 { return b.NozzleContact(u, v) + drift - datum },
		Roll:   m.Roll.At, Pitch: m.Pitch.At,
		Node:  b.Node,
		Drift: p.feeler.Probe.Drift,
	}
}
