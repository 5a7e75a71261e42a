package result

import "abbed/probe/record"

// kindSaysFirst says, by the kind of probe and the finding, what usually makes
// such a probe behave so, and what to try first. Common practice, no source: a
// hint where to begin, never evidence.
var kindSaysFirst = map[record.ProbeKind]map[string]string{
	record.KindContact: {
		ProbeNotRepeatable: "Clean the pin of the probe. Check that it moves freely and is straight, and touch more slowly.",
		DriftFound:         "A probe with a pin or switch hardly drifts by itself: the bed moves more often as it warms, or the mount beside a hot nozzle. Wait until the heat is steady.",
		LooseCarriage:      "A pin that wobbles in its guide looks like play of the carriage: push it sideways with a finger, with the printer off, and see whether it gives.",
	},
	record.KindInductive: {
		ProbeNotRepeatable: "Press the spring sheet down: an inductive probe scatters over uneven metal. Mount it as low as its maker allows, its cable away from the motors.",
		DriftFound:         "An inductive probe drifts with its own temperature, by hundredths of a millimetre. Let it hang near the hot bed for ten minutes first. Measure as hot as you print.",
		LooseCarriage:      "Check that the bracket of the probe is stiff and its nuts are tight. A thin one swings after a fast move.",
	},
	record.KindOptical: {
		ProbeNotRepeatable: "An optical probe scatters with what the light falls on: a bare, clear, glossy or patterned bed, traces of plastic, light from outside. Clean the window of the probe and the bed. Shade the probe, and give it the surface that its maker wants.",
		DriftFound:         "An optical probe drifts with its own temperature and with what settles on its window: clean it, let it warm up, and keep the light as it is.",
		LooseCarriage:      "An optical probe on a bracket that gives looks like play: look whether bracket and screws are tight.",
	},
	record.KindNozzle: {
		ProbeNotRepeatable: "Clean the nozzle while its plastic is soft, as the maker describes. Touch more slowly.",
		DriftFound:         "Measure at one steady temperature at which the nozzle does not ooze. Nozzle and load cell grow with heat.",
		LooseCarriage:      "A head pressed up by its own touch shows every play: look whether the nozzle, its block and the carriage are tight.",
	},
}

// WithKind puts what to try first for the kind of probe before what the findings
// say to do next, where the owner said what kind it is.
func WithKind(fs []Finding, kind record.ProbeKind) []Finding {
	for i, f := range fs {
		if first := kindSaysFirst[kind][f.ID]; first != "" {
			fs[i].Next = first + " " + f.Next
		}
	}
	return fs
}
