package workshop

import "strings"

// Cautions stand before anything that is done with tools. Bare metal burns with
// long contact from 43 C (EN ISO 13732-1, second-hand).
func Cautions() []string {
	return []string{
		"Before any work: switch off, unplug, and let nozzle and bed cool below 43 C.",
		"The maker's instructions come first; mains wiring, heaters and frames under load are for qualified people.",
		"Hold the head and the beam before you loosen what carries them.",
		"After any work: the head moves freely by hand over its whole travel, no cable pulls, before power comes on again.",
	}
}

// Advice is what to look for by hand, in the order in which to do it.
type Advice struct {
	Title string
	Steps []string
}

// Says is the advice as one text: the cautions first, then the steps.
func (a Advice) Says() string { return strings.Join(append(Cautions(), a.Steps...), " ") }

// again ends all work on what does not repeat.
const again = "Change one thing at a time, and run the repeat test again."

// Wheels is where to look for worn wheels, and what to do; common practice, no
// source, as all advice here.
func Wheels() Advice {
	return Advice{"Wheels", []string{
		"Push the head slowly by hand along the whole beam. A wheel that is flat or dirty is felt as a click or a dip, once a turn.",
		"Turn each wheel with a finger while the head stands still: one that turns without moving the head carries nothing; one that can hardly be turned carries too much.",
		"Look at each tread against the light: flats, cracks, dents where it rested for long, crumbs of plastic. Clean tread and profile with a dry cloth.",
		"Set the eccentric nuts: turn each until its wheel just cannot be turned by a finger without the head moving along, and no further. Too tight makes flats.",
		"Replace wheels that stay flat after cleaning, in pairs or all, with their bearings; on rails or rods clean and oil, or replace, the carriage's bearings as the maker describes.",
		"If wheels and bearings are sound, look at the rail's or beam's screws, and at a belt that pulls unevenly.",
		again,
	}}
}

// Play is where to look for play along the axis, X or Y, and what to do; along
// either for "".
func Play(axis string) Advice {
	alongX := "Then the joints of the beam with its side carriages."
	alongY := "Then what travels along Y: rock the bed at each corner, or the beam at both ends; its wheels and bearings."
	a := Advice{"Play", []string{
		"Hold the beam with one hand, and rock the head with the other: to and fro, up and down, and about the beam. Nothing may be felt.",
		"If it rocks on the beam: set the eccentric nuts of the wheels (each just cannot be turned without the head moving along), or the preload of the rail's carriage or the rod's bushings. A wheel with flats, or a worn bushing, is replaced.",
		"If it does not: tighten the screws between head and carriage, the holder of the nozzle in its block, and the probe's bracket; rock each alone.",
	}}
	if axis != "Y" {
		a.Steps = append(a.Steps, alongX)
	}
	if axis != "X" {
		a.Steps = append(a.Steps, alongY)
	}
	a.Steps = append(a.Steps, "A belt that hangs slack shows as play: tighten it. Tighten what was loose, and nothing else.", again)
	return a
}

// yAxis is where to look when the Y axis rolls.
func yAxis() Advice {
	return Advice{"Y axis", []string{
		"Rock the bed at its left and right edge, at the front and at the back of its travel: what can be felt is play.",
		"Sight along both Y rails or profiles from the front: they have to lie in one plane. On a beam that travels, measure both its ends against the frame at the front and at the back.",
		"Twist the frame back by its feet: on an uneven table a frame twists, and the Y axis with it. Set the feet so that all four carry.",
	}}
}

// AdviceFor returns what to look for by hand after the findings, by their
// identifiers, in the order given.
func AdviceFor(findings ...string) []Advice {
	var out []Advice
	for _, id := range findings {
		switch id {
		case "worn-wheels":
			out = append(out, Wheels())
		case "loose-carriage":
			out = append(out, Play(""))
		case "bed-roll":
			out = append(out, yAxis())
		}
	}
	return out
}
