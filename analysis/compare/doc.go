// Package compare says what changed between two runs of one machine: Change is one quantity
// in both, with the interval of the change itself, Comparison all of them. Lengths are mm.
package compare
