// Package printfile rewrites a sliced print file so that the nozzle's height
// follows a correction, for machines whose stored map cannot be edited.
//
// In the order in which data passes:
//
//   - A Surface is the correction: what to add to Z at a place of the bed. Grid
//     is one between nodes, straight along both axes, as printers read their maps.
//   - Rewrite copies a file line by line. Of a line that moves the head it changes
//     the Z word only, or adds one. It cuts a move into pieces where the surface
//     leaves the straight line between the ends by more than Options.Tolerance;
//     the extruded length is shared out along the way. Arcs stay arcs: they are
//     cut into arcs of the same circle with a Z word each (a helix of RS-274/NGC),
//     so that the path in X and Y stays what it was. All else passes untouched to
//     the byte: comments, tool changes, lines that are not understood, line ends.
//   - The addition holds in full up to Options.Full and tapers to nothing at
//     Options.Taper.
//   - The first line of the output says what was done; a file that holds such a
//     line is refused.
//   - Summary tells how much was changed, and what was not.
//
// The words are those of RS-274/NGC (Kramer, Proctor, Messina: The NIST RS274NGC
// Interpreter, NIST IR 6556, 2000) with what desktop printers add (common
// practice, no source): an extruder axis E with M82 and M83, and `;` before a
// comment. Where machines differ (does G91 change E too?) the file is refused
// as soon as it matters, until Options.Follow says which. So is what leads out of
// sight and is relied on, and what machines read differently: a carriage return or
// bytes that are no text within a line, a mode behind another command, single motors
// (H), parts that are run several times. What only the machine knows is passed, and
// counted in the Summary.
//
// # Units
//
// mm, in the frame of the bed; a file may use inches (G20).
//
// # Concurrency
//
// Rewrite uses what it is given and starts nothing.
//
// # Errors
//
// A LineError names the line, the cause and the remedy. What was written up to
// there must not be printed: write to a new file, and give it its name at the end.
package printfile
