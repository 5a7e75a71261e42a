package workshop

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

// advice by the finding that it belongs to; common practice, no source.
var advice = map[string]Advice{
	"worn-wheels": {"Wheels", []string{
		"Push the head slowly by hand along the whole beam. A wheel that is flat or dirty is felt as a click or a dip, once a turn.",
		"Turn each wheel with a finger while the head stands still: one that turns without moving the head bears nothing; one that can hardly be turned bears too much.",
		"Look at each tread against the light: flats, cracks, dents where it stood for long, crumbs of plastic. Clean tread and profile with a dry cloth.",
		"Set the eccentric nuts: turn each until its wheel just cannot be turned by a finger without the head moving along, and no further. Too tight makes flats.",
		"Replace wheels in pairs or all, with their bearings, when a flat can be felt after cleaning. Then measure again.",
	}},
	"loose-carriage": {"Play", []string{
		"Hold the beam with one hand, and rock the head with the other: to and fro, up and down, and about the beam. Nothing may be felt.",
		"If it rocks on the beam: the eccentric nuts of the wheels, or the preload of the rail's carriage or the rod's bushings.",
		"If it does not: the screws between head and carriage, the probe's bracket (rock the probe alone), the nozzle in its block.",
		"Then the beam on its side carriages, and the bed on its own: rock each corner.",
		"A belt that hangs slack shows as play along the beam. Tighten what was loose, and nothing else; then measure again.",
	}},
	"bed-roll": {"Y axis", []string{
		"Rock the bed at its left and right edge, at the front and at the back of its travel: what can be felt is play.",
		"Sight along both Y rails or profiles from the front: they have to lie in one plane. On a beam that travels, measure both its ends against the frame at the front and at the back.",
		"Twist the frame back by its feet: on an uneven table a frame twists, and the Y axis with it. Set the feet so that all four bear.",
	}},
}

// AdviceFor returns what to look for by hand after the findings, by their
// identifiers, in the order given.
func AdviceFor(findings ...string) []Advice {
	var out []Advice
	for _, id := range findings {
		if a, ok := advice[id]; ok {
			out = append(out, a)
		}
	}
	return out
}
