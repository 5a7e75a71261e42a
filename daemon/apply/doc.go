// Package apply writes a correction into the printer's stored map, and takes it
// out again, so that the map is never left half written without that being
// known.
//
// The nouns, in the order in which data passes:
//
//   - Line asks the printer; a gcode.Session is one. Nothing here moves.
//   - Journal keeps an entry before and after each stage; store.Store is one.
//   - Writer reads the map, writes the nodes that differ, reads back, compares.
//   - Apply, Undo and Resolve are the three ways from one map to another; Again puts a
//     correction onto a map that was measured anew; Held sees what was not kept.
//   - record.Standing tells all of them which node has the correction in it.
//
// An apply is: intent kept (state writing), nodes written one by one as values
// (a value that is written twice does no harm, an addition would), read back
// (verifying), compared as finely as the printer prints, kept by the printer (kept). On
// any difference or refusal the old nodes are written back (put-back). When the line
// is lost in between, the journal says so, and Resolve finishes or takes back on
// the person's word.
//
// # Units
//
// Nodes are whole micrometres, rows along J, columns along I.
//
// # Concurrency
//
// One call at a time; the caller holds the printer.
//
// # Errors
//
// *record.Problem carries a code and a hint for the person. After an error that leaves
// the printer's map in doubt the journal's last entry is open (store.State.Open).
package apply
