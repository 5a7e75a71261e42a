// Package proof says what the thickness of printed patches shows.
//
// In the order in which data passes: ReadCSV or a front brings Readings, one or more of
// a patch, or the word that it has gaps; Patches takes their means, with the scatter
// between readings of one patch; Judge compares them with the zero place, and with what
// was predicted.
//
// # What a patch shows
//
// A single layer that the nozzle has pressed flat is as thick as the gap was. All
// patches of one print share an unknown constant (the Z offset, the plastic), so that
// only differences against the zero place count. Printed with a correction in force
// they show what it left, which has to be within the tolerance; printed without one
// they show the gap error itself.
//
// One patch alone (0.012 mm: its own roughness) cannot show
// a tolerance of 0.03: two lie beside each other at each of the places that Choose picks,
// where most is in doubt. What is left is one of a few stories, each a linear model with
// normal priors: what the run itself leaves in doubt; a smooth change of the machine,
// small or large; the correction with another factor (not in force, twice); one place
// off alone. Each story counts by how well it predicted the readings (its marginal
// likelihood), and the answer is their mixture.
//
// # Units
//
// mm. U is a standard uncertainty, U95 the half width of a 95 % interval.
package proof
