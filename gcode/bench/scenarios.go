package bench

import (
	"math"

	"abbed/gcode/bench/mechanics"
)

// Scenarios returns all scenarios in a fixed order: sound machines, causes
// that a table can deal with, machines that must not get one, mixtures, and
// other printers with the same twist.
func Scenarios() []Scenario {
	var all []Scenario
	for _, group := range [][]Scenario{soundOnes(), twists(), causes(), gates(), mixtures(), otherPrinters()} {
		all = append(all, group...)
	}
	return all
}

func deg(d float64) float64 { return d * math.Pi / 180 }

// base is a sound printer: everything square, a bed that is flat to 8 um (the
// shape of a real surface plate), a probe that repeats to 5 um (the plain
// estimator of design/2). The travel goes a little beyond the bed, which is
// what lets a probe beside the nozzle reach most of it.
func base(name string, size, px, py float64) Scenario {
	s := Scenario{Name: name}
	s.Machine = mechanics.Machine{
		Layout:  mechanics.MovingBed,
		Bed:     mechanics.Rect{X1: size, Y1: size},
		Travel:  mechanics.Box{Min: [3]float64{-5, -5, 0}, Max: [3]float64{size + 10, size + 5, 250}},
		Lever:   [2]float64{px, py},
		Trigger: 2.2,
		Zero:    [2]float64{size / 2, size / 2},
	}
	s.Shape = mechanics.Moody(s.Bed, 0.008)
	s.Probe = mechanics.Probe{Scatter: 0.005, Quantum: 0.0025}
	s.Wire = Wire{Decimals: 3, Clearance: 5, IdleOff: 120, Chatter: 7, LowTravel: true, Bracket: true, LevelledStart: true}
	return s.nodes(5, 5)
}

// nodes lays the stored map over what probe and nozzle both reach, less a
// margin of 12 mm.
func (s Scenario) nodes(cols, rows int) Scenario {
	const margin = 12
	m := &s.Machine
	m.Cols, m.Rows = cols, rows
	m.Area = mechanics.Rect{
		X0: max(m.Bed.X0, m.Travel.Min[0]+m.Lever[0]) + margin, X1: min(m.Bed.X1, m.Travel.Max[0]+m.Lever[0]) - margin,
		Y0: max(m.Bed.Y0, m.Travel.Min[1]+m.Lever[1]) + margin, Y1: min(m.Bed.Y1, m.Travel.Max[1]+m.Lever[1]) - margin,
	}
	return s
}

// expect sets what a program should say, and why.
func (s Scenario) expect(finding, says string) Scenario {
	s.Finding, s.Says = finding, says
	return s
}

// compensable: steady, and a table is right for it.
func (s Scenario) compensable() Scenario {
	s.Table, s.Compensable = true, true
	return s
}

// linear is an angle that changes by total rad over the bed, 0 in its middle.
func linear(size, total float64) mechanics.Func {
	return func(x float64) float64 { return total * (x/size - 0.5) }
}

// square is 0 in the middle and total at both ends.
func square(size, total float64) mechanics.Func {
	return func(x float64) float64 { t := 2*x/size - 1; return total * t * t }
}

// curved is linear with a quadratic and a cubic part, rad at the ends.
func curved(size, one, two, three float64) mechanics.Func {
	return func(x float64) float64 {
		t := 2*x/size - 1
		return one*t + two*t*t + three*t*t*t
	}
}

// twisted is the machine of most mixtures: px is 0, so that only roll can be
// seen; 0.5 deg over the bed make a wedge of 0.39 mm at the nozzle, 0.17 mm a
// 100 mm.
func twisted(name string) Scenario {
	s := base(name, 235, 0, 45)
	s.Roll = linear(235, deg(0.5))
	return s
}

func soundOnes() []Scenario {
	plain := base("healthy", 235, -44, -12)
	plain.Roll = linear(235, deg(0.04)) // no beam is quite straight: 8 um at the nozzle
	plain = plain.
		expect("healthy", "square and steady: the gap error is below a hundredth everywhere, so nothing is to be corrected")
	small := base("healthy-180", 180, 38, 10).nodes(7, 7).
		expect("healthy", "the same on a small bed with the probe to the right")
	large := base("healthy-300", 300, -25, -30).nodes(4, 6).
		expect("healthy", "the same on a large bed with an oblique lever and a map of 4 x 6")
	shape := base("true-shape", 235, 0, 45)
	shape.Shape = mechanics.Moody(shape.Bed, 0.35)
	shape = shape.expect("true-shape", "a real plate's shape, 0.35 mm high, under a square head: the map is right, the gap error is 0")
	dish := base("true-shape-dish", 235, -44, -12)
	dish.Shape = mechanics.Dish(dish.Bed, 0.3)
	dish = dish.expect("true-shape", "a dish under a square head: large in the map, nothing at the nozzle")
	trough := base("true-shape-trough", 235, 0, 45)
	trough.Shape = mechanics.Trough(trough.Bed, 0.3)
	trough = trough.expect("true-shape", "a bed bent along X only looks like a beam in the map; gauging shows no gap error, so it is the bed")
	rail := base("curved-rail", 235, 38, 0)
	rail.Straight = func(x float64) float64 { t := 2*x/235 - 1; return 0.15 * (t*t - 1) }
	rail.Pitch = func(x float64) float64 { t := 2*x/235 - 1; return -0.15 * 2 * t * 2 / 235 }
	rail = rail.expect("true-shape", "0.15 mm of sag that the carriage follows (EBX = -EZX'): pitch and straightness cancel, the map's shape is real at the nozzle")
	return []Scenario{plain, small, large, shape, dish, trough, rail, noLever()}
}

func noLever() Scenario {
	s := base("no-lever", 235, 0, 0)
	s.Trigger = 0
	s.Roll, s.Pitch = linear(235, deg(0.6)), linear(235, deg(0.4))
	s.Shape = mechanics.Dish(s.Bed, 0.1)
	return s.expect("no-lever", "the nozzle is the probe: however the head tilts, the map is what the nozzle meets")
}

func twists() []Scenario {
	plain := twisted("beam-twist").compensable().
		expect("beam-twist", "the beam twists by 0.5 deg over the bed: 45 mm of lever make a wedge of 0.39 mm; px is 0, so only roll can do it")
	flat := twisted("twist-trammed").compensable()
	flat.Trammed = true
	flat = flat.expect("beam-twist", "the same beam, but the bed was trammed by the probe: a flat map, and the wedge is on the first layer")
	curve := base("twist-curved", 235, 0, 45).compensable()
	curve.Roll = curved(235, deg(0.10), deg(0.12), deg(0.06))
	curve = curve.expect("beam-twist", "roll with quadratic and cubic parts: with px 0 neither pitch nor straightness can bend the gap error, so it is the beam")
	curveFlat := base("twist-curved-trammed", 235, 0, 45).compensable()
	curveFlat.Roll, curveFlat.Trammed = curved(235, deg(0.14), deg(0.16), 0), true
	curveFlat = curveFlat.expect("beam-twist", "the map keeps the bend but lost the wedge: the share sees only one of the two")
	gantry := base("twist-gantry", 235, 0, -40).compensable()
	gantry.Layout, gantry.Roll = mechanics.MovingGantry, linear(235, deg(0.5))
	gantry = gantry.expect("beam-twist", "a twisted beam that travels over a standing bed: costs the same as on a moving bed")
	rate := base("bridge-roll-rate", 300, 0, 40).compensable()
	rate.Layout, rate.YRoll = mechanics.MovingGantry, linear(300, deg(0.44))
	rate = rate.expect("beam-twist", "the bridge rolls evenly on its side rails (design/2: +-0.138 mm): exactly like a constant twist, so the beam is named first")
	cancel := base("twist-hidden", 235, 0, 45).compensable()
	cancel.Roll = square(235, deg(0.27))
	cancel.Shape = mechanics.Trough(cancel.Bed, 45*math.Sin(deg(0.27)))
	cancel = cancel.expect("beam-twist", "the bed's trough and the beam's bent twist cancel in the map, which is flat: the nozzle sees the whole of it")
	return []Scenario{plain, flat, curve, curveFlat, gantry, rate, cancel}
}

func causes() []Scenario {
	pitch := base("head-pitch", 235, -44, 0).compensable()
	pitch.Pitch = linear(235, deg(0.4))
	pitch = pitch.expect("beam-pitch", "the head pitches along X: with py 0 it is not roll, but straightness would do the same and is named with it; the table rests on the gauging alone")
	sag := base("beam-sag", 235, 38, 0).compensable()
	sag.Straight = func(x float64) float64 { t := 2*x/235 - 1; return 0.25 * (t*t - 1) }
	sag = sag.expect("beam-pitch", "a sagging beam whose carriage does not tilt: probe and nozzle are at different places of it; pitch would do the same")
	oblique := base("oblique-tilt", 235, -25, -30).compensable()
	oblique.Roll = linear(235, deg(0.6))
	oblique = oblique.expect("head-tilt", "an even twist under an oblique lever: roll and pitch both fit; one lever cannot say which")
	bedRoll := base("bed-roll", 235, 0, 45).compensable()
	bedRoll.YRoll = square(235, deg(0.15))
	bedRoll = bedRoll.expect("bed-roll", "the bed rolls unevenly as it travels: t s in the gap error, which no beam along X can give")
	bedPitch := base("bed-pitch", 235, 0, 45).compensable()
	bedPitch.YPitch = linear(235, deg(0.5))
	bedPitch = bedPitch.expect("bed-pitch", "the bed pitches as it travels: s alone in the gap error; straightness of the Y axis would do the same and is named with it")
	return []Scenario{pitch, sag, oblique, bedRoll, bedPitch}
}
