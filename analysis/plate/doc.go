// Package plate takes the bed out of a survey: Turned by surveys of the plate turned on its
// carrier, Reference by touches along a straight bar. Neither tells carrier, straightness
// and tilt of the head apart. Lengths are mm.
package plate
