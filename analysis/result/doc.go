// Package result is what a run says, as data, under the names that the API shows too.
//
// The nouns: Measured is a value with its doubt; Reason says why something is not told and
// Refusal why there is no correction, each with what to do; Finding is a conclusion in plain
// words; Table is a correction of Nodes, named by its digest.
//
// # Units
//
// mm, rad and s; nodes in whole micrometres. Intervals are 95 %.
package result
