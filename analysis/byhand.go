package analysis

// What to do by hand about a machine that does not do the same twice, in the order
// in which one does it; common practice, no source. The desk (analysis/workshop)
// says it step by step.

// coldFirst stands before all work by hand: bare metal burns with long contact from
// 43 C (EN ISO 13732-1, second-hand).
const coldFirst = "First switch off, unplug, and let nozzle and bed cool below 43 C; the maker's instructions come first. "

const thenAgain = " Change one thing at a time, and run the repeat test again."

// wheelsNext is where to look for wheels and what to do.
const wheelsNext = coldFirst +
	"Push the head slowly along the beam by hand: a flat or dirty wheel is felt as a click once a turn. " +
	"Turn each wheel with a finger and look at its tread against the light for flats, cracks and crumbs; clean tread and profile with a dry cloth. " +
	"Set the eccentric nuts: each wheel just cannot be turned without the head moving along, and no tighter. " +
	"Replace wheels that stay flat after cleaning, in pairs or all, with their bearings; on rails or rods clean and oil, or replace, the carriage's bearings as the maker describes. " +
	"If wheels and bearings are sound, look at the rail's or beam's screws, and at a belt that pulls unevenly." + thenAgain

// playNext is where to look for play along an axis, and what to do.
func playNext(axis string) string {
	rest := "then the joints of the beam with its side carriages, and a belt that hangs slack: tighten it."
	if axis == "Y" {
		rest = "then what travels along Y: rock the bed at each corner, or the beam at both ends; its wheels and bearings, and a belt that hangs slack: tighten it."
	}
	return coldFirst +
		"Hold the beam with one hand and rock the head with the other: to and fro, up and down, and about the beam; nothing may be felt. " +
		"If it rocks on the beam, set the eccentric nuts of the wheels (each just cannot be turned without the head moving along), or the preload of rail or bushings; a wheel with flats, or a worn bushing, is replaced. " +
		"If it does not, tighten the screws between head and carriage, the holder of the nozzle, and the probe's bracket: rock each alone; " +
		rest + thenAgain
}
