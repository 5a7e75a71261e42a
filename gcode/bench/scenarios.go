package bench

import (
	"math"

	"abbed/gcode/bench/mechanics"
)

// Scenarios returns all scenarios in a fixed order: sound machines, causes
// that a table can deal with, machines that must not get one, mixtures, and
// other printers with the same twist.
func Scenarios() []Scenario {
	all := make([]Scenario, 0, 64)
	for _, r := range rows() {
		r.Name, r.Finding, r.Says = r.name, r.finding, r.says
		if r.off != nil {
			r.off(&r.Scenario)
		}
		all = append(all, r.Scenario)
	}
	return all
}

// row is a scenario in the table: the machine from which it departs, the finding
// that comes first, why, and what is off.
type row struct {
	name string
	Scenario
	finding, says string
	off           func(s *Scenario)
}

func deg(d float64) float64 { return d * math.Pi / 180 }

// base is a sound printer: everything square, a bed that is flat to 8 um (the
// shape of a real surface plate), a probe that repeats to 5 um (the plain
// estimator of design/2). The travel goes a little beyond the bed, which is
// what lets a probe beside the nozzle reach most of it.
func base(size, px, py float64) (s Scenario) {
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

// sag is 0 at both ends and deep in the middle, mm.
func sag(size, deep float64) mechanics.Func {
	return func(x float64) float64 { t := 2*x/size - 1; return deep * (t*t - 1) }
}

// worn has flats on the wheels.
func worn(s *Scenario) {
	s.Dip, s.DipWidth, s.DipPeriod, s.Slip, s.Wander = 0.08, 2.5, 66, 9, 0.012
}

// settles is a frame that warms up.
func settles(s *Scenario) {
	s.DriftSettle, s.DriftTime, s.Also = 0.15, 600, []string{"drift"}
}

func rows() []row {
	// The machine of most mixtures: px is 0, so that only roll can be seen; 0.5 deg
	// over the bed make a wedge of 0.39 mm at the nozzle, 0.17 mm a 100 mm.
	back := base(235, 0, 45)
	turned := back
	turned.Roll = linear(235, deg(0.5))
	twisted := turned.compensable()
	return []row{
		{"healthy", base(235, -44, -12), "healthy", "square and steady: the gap error is below a hundredth everywhere, so nothing is to be corrected",
			func(s *Scenario) { s.Roll = linear(235, deg(0.04)) }}, // no beam is quite straight: 8 um at the nozzle
		{"healthy-180", base(180, 38, 10).nodes(7, 7), "healthy", "the same on a small bed with the probe to the right", nil},
		{"healthy-300", base(300, -25, -30).nodes(4, 6), "healthy", "the same on a large bed with an oblique lever and a map of 4 x 6", nil},
		{"true-shape", back, "true-shape", "a real plate's shape, 0.35 mm high, under a square head: the map is right, the gap error is 0",
			func(s *Scenario) { s.Shape = mechanics.Moody(s.Bed, 0.35) }},
		{"true-shape-dish", base(235, -44, -12), "true-shape", "a dish under a square head: large in the map, nothing at the nozzle",
			func(s *Scenario) { s.Shape = mechanics.Dish(s.Bed, 0.3) }},
		{"true-shape-trough", back, "true-shape", "a bed bent along X only looks like a beam in the map; gauging shows no gap error, so it is the bed",
			func(s *Scenario) { s.Shape = mechanics.Trough(s.Bed, 0.3) }},
		{"curved-rail", base(235, 38, 0), "true-shape", "0.15 mm of sag that the carriage follows (EBX = -EZX'): pitch and straightness cancel, the map's shape is real at the nozzle",
			func(s *Scenario) {
				s.Straight = sag(235, 0.15)
				s.Pitch = func(x float64) float64 { t := 2*x/235 - 1; return -0.15 * 2 * t * 2 / 235 }
			}},
		{"no-lever", base(235, 0, 0), "no-lever", "the nozzle is the probe: however the head tilts, the map is what the nozzle meets",
			func(s *Scenario) {
				s.Trigger, s.Shape = 0, mechanics.Dish(s.Bed, 0.1)
				s.Roll, s.Pitch = linear(235, deg(0.6)), linear(235, deg(0.4))
			}},

		{"beam-twist", twisted, "beam-twist", "the beam twists by 0.5 deg over the bed: 45 mm of lever make a wedge of 0.39 mm; px is 0, so only roll can do it", nil},
		{"twist-trammed", twisted, "beam-twist", "the same beam, but the bed was trammed by the probe: a flat map, and the wedge is on the first layer",
			func(s *Scenario) { s.Trammed = true }},
		{"twist-curved", back.compensable(), "beam-twist", "roll with quadratic and cubic parts: with px 0 neither pitch nor straightness can bend the gap error, so it is the beam",
			func(s *Scenario) { s.Roll = curved(235, deg(0.10), deg(0.12), deg(0.06)) }},
		{"twist-curved-trammed", back.compensable(), "beam-twist", "the map keeps the bend but lost the wedge: the share sees only one of the two",
			func(s *Scenario) { s.Roll, s.Trammed = curved(235, deg(0.14), deg(0.16), 0), true }},
		{"twist-gantry", base(235, 0, -40).compensable(), "beam-twist", "a twisted beam that travels over a standing bed: costs the same as on a moving bed",
			func(s *Scenario) { s.Layout, s.Roll = mechanics.MovingGantry, linear(235, deg(0.5)) }},
		{"bridge-roll-rate", base(300, 0, 40).compensable(), "beam-twist", "the bridge rolls evenly on its side rails (design/2: +-0.138 mm): exactly like a constant twist, so the beam is named first",
			func(s *Scenario) { s.Layout, s.YRoll = mechanics.MovingGantry, linear(300, deg(0.44)) }},
		{"twist-hidden", back.compensable(), "beam-twist", "the bed's trough and the beam's bent twist cancel in the map, which is flat: the nozzle sees the whole of it",
			func(s *Scenario) {
				s.Roll, s.Shape = square(235, deg(0.27)), mechanics.Trough(s.Bed, 45*math.Sin(deg(0.27)))
			}},

		{"head-pitch", base(235, -44, 0).compensable(), "beam-pitch", "the head pitches along X: with py 0 it is not roll, but straightness would do the same and is named with it; the table rests on the gauging alone",
			func(s *Scenario) { s.Pitch = linear(235, deg(0.4)) }},
		{"beam-sag", base(235, 38, 0).compensable(), "beam-pitch", "a sagging beam whose carriage does not tilt: probe and nozzle are at different places of it; pitch would do the same",
			func(s *Scenario) { s.Straight = sag(235, 0.25) }},
		{"oblique-tilt", base(235, -25, -30).compensable(), "head-tilt", "an even twist under an oblique lever: roll and pitch both fit; one lever cannot say which",
			func(s *Scenario) { s.Roll = linear(235, deg(0.6)) }},
		{"bed-roll", back.compensable(), "bed-roll", "the bed rolls unevenly as it travels: t s in the gap error, which no beam along X can give",
			func(s *Scenario) { s.YRoll = square(235, deg(0.15)) }},
		{"bed-pitch", back.compensable(), "bed-pitch", "the bed pitches as it travels: s alone in the gap error; straightness of the Y axis would do the same and is named with it",
			func(s *Scenario) { s.YPitch = linear(235, deg(0.5)) }},

		// The machines that must not get a table.
		{"loose-carriage", base(235, -44, -12), "loose-carriage", "the carriage rocks: 0.08 mm between coming from the left and from the right, 16 times the scatter",
			func(s *Scenario) { s.Play = [2]float64{0.08, 0} }},
		{"loose-carriage-y", back, "loose-carriage", "the same, between coming from the front and from the back",
			func(s *Scenario) { s.Play = [2]float64{0, 0.08} }},
		{"worn-wheels", base(235, -25, -30), "worn-wheels", "flats on the wheels: dips of 0.08 mm every 66 mm that are elsewhere at each pass; standing still the probe repeats", worn},
		{"wandering", back, "worn-wheels", "the carriage rides differently at each pass, by five times the scatter, without a period",
			func(s *Scenario) { s.Wander = 0.025 }},
		{"probe-not-repeatable", base(235, -44, -12), "probe-not-repeatable", "the probe scatters by 0.06 mm, twice the tolerance: nothing can be seen with it",
			func(s *Scenario) { s.Scatter = 0.06 }},
		{"drift-unsteady", back, "drift", "a heater that cycles moves the frame to and fro by 0.06 mm within a minute, not regularly: no line and no settling fits it; from touch to touch the probe repeats",
			func(s *Scenario) { s.DriftSwing, s.DriftPeriod = 0.06, 40 }},
		{"repair", back, "repair", "2 deg over the bed: +-0.79 mm at the nozzle, beyond the largest correction of 0.5 mm within one hop",
			func(s *Scenario) { s.Roll = linear(235, deg(2)) }},
		{"repair-steep", back, "repair", "+-0.4 mm inside the map would do, but 0.385 mm per 100 mm is steeper than 0.3",
			func(s *Scenario) { s.Roll = linear(235, deg(1.15)) }},
		{"stale-map", turned, "beam-twist", "twisted as beam-twist, but two nodes of the stored map are off by 0.12 mm: the map is to be measured again before any table",
			func(s *Scenario) {
				s.Stale, s.Compensable = []Stale{{I: 1, J: 3, Off: 0.12}, {I: 3, J: 1, Off: -0.12}}, true
			}},

		// Two things off.
		{"drift-settling", base(235, -44, -12), "healthy", "the frame settles by 0.15 mm while it warms: a steady course that can be taken out, and nothing else is off", settles},
		{"twist-drift", twisted, "beam-twist", "the twist on a frame that settles: paired touches keep the drift out of the gap error", settles},
		{"twist-drift-steady", twisted, "beam-twist", "the twist on a frame that rises by 0.18 mm an hour for ever",
			func(s *Scenario) { s.DriftRate, s.Also = 5e-5, []string{"drift"} }},
		{"twist-play", turned, "loose-carriage", "the twist is there, but the carriage rocks: not to be compensated before it is tight",
			func(s *Scenario) { s.Play = [2]float64{0.08, 0} }},
		{"twist-worn", turned, "worn-wheels", "the twist is there, but the wheels have flats: not the same from pass to pass", worn},
		{"twist-dish", twisted, "beam-twist", "a dish of 0.25 mm, which the map deals with, and the wedge, which it does not",
			func(s *Scenario) { s.Shape = mechanics.Dish(s.Bed, 0.25) }},
		{"twist-plate", twisted, "beam-twist", "a real plate's shape, 0.25 mm high, under a twisted beam: the plate must not leak into the table",
			func(s *Scenario) { s.Shape = mechanics.Moody(s.Bed, 0.25) }},
		{"twist-waves", twisted, "beam-twist", "an uneven plate under a twisted beam",
			func(s *Scenario) { s.Shape = mechanics.Waves(s.Bed, 0.06) }},
		{"twist-curved-dish", back.compensable(), "beam-twist", "a bent twist and a dish add in the map's profile: a share between 0 and 1",
			func(s *Scenario) {
				s.Roll, s.Shape = curved(235, deg(0.12), deg(0.15), 0), mechanics.Dish(s.Bed, 0.2)
			}},
		{"twist-outliers", twisted, "beam-twist", "one touch in fifty is off by a quarter of a millimetre: to be listed, not believed",
			func(s *Scenario) { s.Outlier, s.OutlierSize = 0.02, 0.25 }},
		{"twist-first-touch", twisted, "beam-twist", "the first touch after a rest reads 0.03 mm high",
			func(s *Scenario) { s.First = 0.03 }},
		{"twist-level", twisted, "beam-twist", "the Z offset is 0.08 mm too high as well: to be told apart from the gap error, which is 0 at the zero place",
			func(s *Scenario) { s.Level = 0.08 }},
		{"twist-bed-roll", back.compensable(), "bed-roll", "two axes at once: the t s part proves that the bed rolls, which explains an even part as well, so that it is named before the beam",
			func(s *Scenario) { s.Roll, s.YRoll = linear(235, deg(0.35)), square(235, deg(0.10)) }},

		// The twist of beam-twist, on other machines and lines.
		{"twist-180", base(180, 0, 38).nodes(7, 7).compensable(), "beam-twist", "a small bed, a short lever, a map of 7 x 7",
			func(s *Scenario) { s.Roll = linear(180, deg(0.5)) }},
		{"twist-300", base(300, 0, -45).nodes(4, 6).compensable(), "beam-twist", "a large bed, the probe in front, twisted the other way, a map of 4 x 6",
			func(s *Scenario) { s.Roll = linear(300, -deg(0.5)) }},
		{"twist-tilted-bed", twisted, "beam-twist", "nobody trammed this bed: it slopes by 0.4 and 0.6 mm a metre, which is real",
			func(s *Scenario) { s.Tilt = [2]float64{0.4e-3, -0.6e-3} }},
		{"coarse-reports", twisted, "beam-twist", "heights are told to 0.01 mm only: a doubt of 3 um besides the scatter, small against the wedge",
			func(s *Scenario) { s.Decimals = 2 }},
		{"straight-probe", twisted, "beam-twist", "probes straight down (G38.2) and answers in brackets, the bare trigger height",
			func(s *Scenario) { s.Straight38, s.TouchRaw = true, true }},
		{"straight-probe-silent", twisted, "beam-twist", "probes straight down and answers ok alone: the place is to be asked for",
			func(s *Scenario) { s.Straight38, s.TouchRaw, s.Bracket = true, true, false }},
		{"plain-line", twisted, "beam-twist", "takes neither line numbers nor checks",
			func(s *Scenario) { s.NoFraming, s.Chatter = true, 0 }},
		{"restarts-on-open", twisted, "beam-twist", "restarts when it is opened, and talks of its temperatures all the time",
			func(s *Scenario) { s.ResetOnOpen, s.Chatter = true, 3 }},
		{"tight-lipped", twisted, "beam-twist", "tells neither lever nor limits nor settings: the owner has to",
			func(s *Scenario) { s.Unknown = []string{"M851", "M211", "M503", "M27"} }},
		{"own-clearance", twisted, "beam-twist", "raises by itself before a touch, tells where the head is and not where it will be, switches levelling off when homing and the motors after a minute",
			func(s *Scenario) {
				s.LowTravel, s.ActualPlace, s.HomeLevelsOff, s.IdleOff = false, true, true, 60
			}},
	}
}
