package bench

import "abbed/gcode/bench/mechanics"

// gates are the machines that must not get a table.
func gates() []Scenario {
	loose := base("loose-carriage", 235, -44, -12)
	loose.Play = [2]float64{0.08, 0}
	loose = loose.expect("loose-carriage", "the carriage rocks: 0.08 mm between coming from the left and from the right, 16 times the scatter")
	looseY := base("loose-carriage-y", 235, 0, 45)
	looseY.Play = [2]float64{0, 0.08}
	looseY = looseY.expect("loose-carriage", "the same, between coming from the front and from the back")

	worn := base("worn-wheels", 235, -25, -30)
	worn.Dip, worn.DipWidth, worn.DipPeriod, worn.Slip, worn.Wander = 0.08, 2.5, 66, 9, 0.012
	worn = worn.expect("worn-wheels", "flats on the wheels: dips of 0.08 mm every 66 mm that are elsewhere at each pass; standing still the probe repeats")
	wander := base("wandering", 235, 0, 45)
	wander.Wander = 0.025
	wander = wander.expect("worn-wheels", "the carriage rides differently at each pass, by five times the scatter, without a period")

	rough := base("probe-not-repeatable", 235, -44, -12)
	rough.Scatter = 0.06
	rough = rough.expect("probe-not-repeatable", "the probe scatters by 0.06 mm, twice the tolerance: nothing can be seen with it")

	swing := base("drift-unsteady", 235, 0, 45)
	swing.DriftSwing, swing.DriftPeriod = 0.06, 40
	swing = swing.expect("drift", "a heater that cycles moves the frame to and fro by 0.06 mm within a minute, not regularly: no line and no settling fits it; from touch to touch the probe repeats")

	big := base("repair", 235, 0, 45)
	big.Roll = linear(235, deg(2))
	big = big.expect("repair", "2 deg over the bed: +-0.79 mm at the nozzle, beyond the largest correction of 0.5 mm within one hop")
	steep := base("repair-steep", 235, 0, 45)
	steep.Roll = linear(235, deg(1.15))
	steep = steep.expect("repair", "+-0.4 mm inside the map would do, but 0.385 mm per 100 mm is steeper than 0.3")

	stale := twisted("stale-map")
	stale.Stale = []Stale{{I: 1, J: 3, Off: 0.12}, {I: 3, J: 1, Off: -0.12}}
	stale.Compensable = true
	stale = stale.expect("beam-twist", "twisted as beam-twist, but two nodes of the stored map are off by 0.12 mm: the map is to be measured again before any table")
	return []Scenario{loose, looseY, worn, wander, rough, swing, big, steep, stale}
}

// mixtures have two things off.
func mixtures() []Scenario {
	warm := base("drift-settling", 235, -44, -12)
	warm.DriftSettle, warm.DriftTime = 0.15, 600
	warm.Also = []string{"drift"}
	warm = warm.expect("healthy", "the frame settles by 0.15 mm while it warms: a steady course that can be taken out, and nothing else is off")

	twistWarm := twisted("twist-drift").compensable()
	twistWarm.DriftSettle, twistWarm.DriftTime = 0.15, 600
	twistWarm.Also = []string{"drift"}
	twistWarm = twistWarm.expect("beam-twist", "the twist on a frame that settles: paired touches keep the drift out of the gap error")
	twistRate := twisted("twist-drift-steady").compensable()
	twistRate.DriftRate = 5e-5
	twistRate.Also = []string{"drift"}
	twistRate = twistRate.expect("beam-twist", "the twist on a frame that rises by 0.18 mm an hour for ever")

	twistPlay := twisted("twist-play")
	twistPlay.Play = [2]float64{0.08, 0}
	twistPlay = twistPlay.expect("loose-carriage", "the twist is there, but the carriage rocks: not to be compensated before it is tight")
	twistWorn := twisted("twist-worn")
	twistWorn.Dip, twistWorn.DipWidth, twistWorn.DipPeriod, twistWorn.Slip, twistWorn.Wander = 0.08, 2.5, 66, 9, 0.012
	twistWorn = twistWorn.expect("worn-wheels", "the twist is there, but the wheels have flats: not the same from pass to pass")

	twistBed := twisted("twist-dish").compensable()
	twistBed.Shape = mechanics.Dish(twistBed.Bed, 0.25)
	twistBed = twistBed.expect("beam-twist", "a dish of 0.25 mm, which the map deals with, and the wedge, which it does not")
	twistPlate := twisted("twist-plate").compensable()
	twistPlate.Shape = mechanics.Moody(twistPlate.Bed, 0.25)
	twistPlate = twistPlate.expect("beam-twist", "a real plate's shape, 0.25 mm high, under a twisted beam: the plate must not leak into the table")
	twistWaves := twisted("twist-waves").compensable()
	twistWaves.Shape = mechanics.Waves(twistWaves.Bed, 0.06)
	twistWaves = twistWaves.expect("beam-twist", "an uneven plate under a twisted beam")
	bend := base("twist-curved-dish", 235, 0, 45).compensable()
	bend.Roll, bend.Shape = curved(235, deg(0.12), deg(0.15), 0), mechanics.Dish(bend.Bed, 0.2)
	bend = bend.expect("beam-twist", "a bent twist and a dish add in the map's profile: a share between 0 and 1")

	outliers := twisted("twist-outliers").compensable()
	outliers.Outlier, outliers.OutlierSize = 0.02, 0.25
	outliers = outliers.expect("beam-twist", "one touch in fifty is off by a quarter of a millimetre: to be listed, not believed")
	first := twisted("twist-first-touch").compensable()
	first.First = 0.03
	first = first.expect("beam-twist", "the first touch after a rest reads 0.03 mm high")
	level := twisted("twist-level").compensable()
	level.Level = 0.08
	level = level.expect("beam-twist", "the Z offset is 0.08 mm too high as well: to be told apart from the gap error, which is 0 at the zero place")
	both := base("twist-bed-roll", 235, 0, 45).compensable()
	both.Roll, both.YRoll = linear(235, deg(0.35)), square(235, deg(0.10))
	both = both.expect("bed-roll", "two axes at once: the t s part proves that the bed rolls, which explains an even part as well, so that it is named before the beam")
	return []Scenario{warm, twistWarm, twistRate, twistPlay, twistWorn, twistBed, twistPlate, twistWaves, bend, outliers, first, level, both}
}

// otherPrinters have the twist of beam-twist, on other machines and lines.
func otherPrinters() []Scenario {
	small := base("twist-180", 180, 0, 38).nodes(7, 7).compensable()
	small.Roll = linear(180, deg(0.5))
	small = small.expect("beam-twist", "a small bed, a short lever, a map of 7 x 7")
	large := base("twist-300", 300, 0, -45).nodes(4, 6).compensable()
	large.Roll = linear(300, -deg(0.5))
	large = large.expect("beam-twist", "a large bed, the probe in front, twisted the other way, a map of 4 x 6")
	tilted := twisted("twist-tilted-bed").compensable()
	tilted.Tilt = [2]float64{0.4e-3, -0.6e-3}
	tilted = tilted.expect("beam-twist", "nobody trammed this bed: it slopes by 0.4 and 0.6 mm a metre, which is real")

	coarse := twisted("coarse-reports").compensable()
	coarse.Decimals = 2
	coarse = coarse.expect("beam-twist", "heights are told to 0.01 mm only: a doubt of 3 um besides the scatter, small against the wedge")
	straight := twisted("straight-probe").compensable()
	straight.Straight38, straight.TouchRaw = true, true
	straight = straight.expect("beam-twist", "probes straight down (G38.2) and answers in brackets, the bare trigger height")
	silent := straight
	silent.Name, silent.Bracket = "straight-probe-silent", false
	silent = silent.expect("beam-twist", "probes straight down and answers ok alone: the place is to be asked for")
	plain := twisted("plain-line").compensable()
	plain.NoFraming, plain.Chatter = true, 0
	plain = plain.expect("beam-twist", "takes neither line numbers nor checks")
	restarts := twisted("restarts-on-open").compensable()
	restarts.ResetOnOpen, restarts.Chatter = true, 3
	restarts = restarts.expect("beam-twist", "restarts when it is opened, and talks of its temperatures all the time")
	tight := twisted("tight-lipped").compensable()
	tight.Unknown = []string{"M851", "M211", "M503", "M27"}
	tight = tight.expect("beam-twist", "tells neither lever nor limits nor settings: the owner has to")
	steady := twisted("own-clearance").compensable()
	steady.LowTravel, steady.ActualPlace, steady.HomeLevelsOff, steady.IdleOff = false, true, true, 60
	steady = steady.expect("beam-twist", "raises by itself before a touch, tells where the head is and not where it will be, switches levelling off when homing and the motors after a minute")
	return []Scenario{small, large, tilted, coarse, straight, silent, plain, restarts, tight, steady}
}
