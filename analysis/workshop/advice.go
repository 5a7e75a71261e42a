package workshop

// Cautions stand before anything that is done with tools. Bare metal burns with
// long contact from 43 C (EN ISO 13732-1, second-hand).
func Cautions() []string {
	return []string{
		"Before any work: switch off, unplug, and let nozzle and bed cool below 43 °C.",
		"The maker's instructions come first. Leave mains wiring, heaters and frames under load to qualified people.",
		"Hold the head and the beam before you loosen what carries them.",
		"After any work: move the head by hand over its whole travel. It moves freely, and no cable pulls. Then switch on.",
	}
}

// Advice is what to look for by hand, in the order in which to do it.
type Advice struct {
	Title string
	Steps []string
}

// again ends all work on what does not repeat.
const again = "Change one thing at a time, and run the repeat test again."

// Wheels is where to look for worn wheels, and what to do; common practice, no
// source, as all advice here.
func Wheels() Advice {
	return Advice{"Wheels", []string{
		"Push the head slowly by hand along the whole beam. A flat or dirty wheel is felt as a click or dip, once a turn.",
		"Turn each wheel with a finger while the head is still. One that turns without moving the head carries nothing. One that hardly turns carries too much.",
		"Look at each tread against the light: flats, cracks, dents, crumbs of plastic. Clean tread and profile with a dry cloth.",
		"Set the eccentric nuts. Turn each until its wheel moves the head along when a finger turns it. Turn it no further: too tight makes flats.",
		"Replace wheels that stay flat after cleaning, in pairs, with their bearings. On rails or rods clean and oil the carriage's bearings, or replace them.",
		"If they are sound, look at the screws of the rail or beam. Then look at the belt: does it pull unevenly?",
		again,
	}}
}

// Play is where to look for play along the axis, X or Y, and what to do; along
// either for "".
func Play(axis string) Advice {
	alongX := "Then rock the joints of the beam with its side carriages."
	alongY := "Then rock what travels along Y: the bed at each corner, or the beam at both ends."
	a := Advice{"Play", []string{
		"Hold the beam with one hand, and rock the head with the other. Rock it to and fro, up and down, and about the beam. Nothing may give.",
		"If it rocks on the beam, set the eccentric nuts of the wheels, or the preload of the carriage. Replace a wheel with flats, or a worn bushing.",
		"If it does not, rock the head's screws, the nozzle's holder and the probe's bracket, each alone. Tighten what is loose.",
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

// YAxis is where to look when the Y axis rolls.
func YAxis() Advice {
	return Advice{"Y axis", []string{
		"Rock the bed left and right, at the front and the back of its travel. What gives is play.",
		"Sight along both Y rails from the front: they have to lie in one plane. If the beam travels, measure both its ends against the frame, at front and back.",
		"On an uneven table the frame twists, and the Y axis with it. Set the feet so that all four carry.",
	}}
}
