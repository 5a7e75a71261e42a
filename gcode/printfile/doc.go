// Package printfile rewrites a sliced print file so that the nozzle's height
// follows a correction, for machines whose stored map cannot be edited.
//
// In the order in which data passes:
//
//   - A Surface is the correction: what to add to Z at a place of the bed. Grid
//     is one between nodes, straight along both axes, as printers read their maps.
//   - Rewrite copies a file line by line. Each line is parsed once into what it is: a
//     move, something that changes how later lines are read (units, modes, G92), or
//     something else. Of a move it changes the Z word only, or adds one. It cuts a move
//     into pieces where the surface leaves the straight line between the ends by more
//     than Options.Tolerance; the extruded length is shared out along the way. Arcs stay
//     arcs: they are cut into arcs of the same circle with a Z word each (a helix of
//     RS-274/NGC), so that the path in X and Y stays what it was. All else passes
//     untouched to the byte: comments, settings, tool changes, lines that are not
//     understood, line ends.
//   - The addition holds in full over the first two layers, which are found by reading
//     ahead, and ends above them at the rate Options.Fade.
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
// bytes that are no text within a line, a mode or a move behind another command, two
// words of one modal group, an arc that goes on without X and Y, single motors (H),
// parts that are run several times. A line whose command is an M word moves nothing,
// whatever stands before it. What only the machine knows is passed, and counted in the
// Summary.
//
// # Units
//
// mm, in the frame of the bed; a file may use inches (G20). Where the file leads is
// reckoned in whole numbers of 1e-9 mm, so that sums of words are exact.
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
