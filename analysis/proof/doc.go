// Package proof says what the thickness of printed patches proves.
//
// In the order in which data passes: ReadCSV or a front brings Readings, several
// of a patch; Patches takes their means, with the scatter between readings of one
// patch; Judge compares them with the zero place, and with what was predicted.
//
// # What a patch tells
//
// A single layer that the nozzle has ironed flat is as thick as the gap was. All
// patches of one print share an unknown constant (the Z offset, the plastic), so
// that only differences against the zero place count. Printed with a correction
// in force they show what it left, which has to be within the tolerance; printed
// without one they show the gap error itself.
//
// A remaining error is smooth: a plane with a bow along X and a twist. It is
// fitted to all patches together, since one patch alone (0.012 mm: its own
// roughness, the map between its nodes) could never prove a tolerance of 0.03.
// Where the patches leave such a surface by more than their doubt, the doubt is
// made as large as what they show.
//
// # Units
//
// mm. U is a standard uncertainty, U95 the half width of a 95 % interval.
package proof
