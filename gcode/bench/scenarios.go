package bench

import "math"

// Scenarios returns all scenarios in a fixed order.
func Scenarios() []Scenario {
	return []Scenario{
		healthy(), beamTwist(),
	}
}

func deg(d float64) float64 { return d * math.Pi / 180 }

// base is a sound printer of the common size: everything square, a flat bed,
// a probe that repeats to 5 um. The travel goes a little beyond the bed.
func base(name string, size, px, py float64) Scenario {
	s := Scenario{Name: name}
	s.Machine = Machine{
		Layout:  MovingBed,
		Bed:     Rect{0, 0, size, size},
		Travel:  Box{Min: [3]float64{-5, -5, 0}, Max: [3]float64{size + 10, size + 5, 250}},
		Lever:   [2]float64{px, py},
		Trigger: 2.2,
		Zero:    [2]float64{size / 2, size / 2},
		Cols:    5, Rows: 5,
	}
	s.Machine.Area = mapArea(s.Machine, 12)
	s.Shape = Moody(s.Bed, 0.008)
	s.Probe = Probe{Scatter: 0.005, Quantum: 0.0025}
	s.Wire = Wire{Decimals: 3, Clearance: 5, IdleOff: 120, Chatter: 7, LowTravel: true, Bracket: true}
	return s
}

// mapArea is what the probe and the nozzle both reach, less a margin.
func mapArea(m Machine, margin float64) Rect {
	return Rect{
		X0: max(m.Bed.X0, m.Travel.Min[0]+m.Lever[0]) + margin, X1: min(m.Bed.X1, m.Travel.Max[0]+m.Lever[0]) - margin,
		Y0: max(m.Bed.Y0, m.Travel.Min[1]+m.Lever[1]) + margin, Y1: min(m.Bed.Y1, m.Travel.Max[1]+m.Lever[1]) - margin,
	}
}

// linear is an angle that changes by total rad over the bed along one axis, 0
// at its middle.
func linear(size, total float64) Func {
	return func(x float64) float64 { return total * (x/size - 0.5) }
}

func healthy() Scenario {
	s := base("healthy", 235, -44, -12)
	s.Says = "square and steady: the gap error is below a hundredth everywhere, so nothing is to be corrected"
	s.Finding = "healthy"
	return s
}

func beamTwist() Scenario {
	s := base("beam-twist", 235, 0, 45)
	s.Roll = linear(235, deg(0.5))
	s.Says = "the beam twists by 0.5 deg over the bed: 45 mm of lever make a wedge of 0.39 mm; px is 0, so only roll can do it"
	s.Finding, s.Table, s.Compensable = "beam-twist", true, true
	return s
}
