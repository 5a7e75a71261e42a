// Package results keeps every run at hand with what it tells, in the words of the API: its
// state and how it ended, its analysis, what changed since another, the history of the head,
// what can be repaired.
//
//   - Shelf finds a run, the one that goes on or a stored one, and judges it once as it stands.
//   - Analysis, Compared, Foretold and RepairOf need no daemon: the command line uses them on
//     files.
//
// Lengths are mm, angles degrees (per m along a way).
package results
