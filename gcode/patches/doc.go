// Package patches makes the file of a proof print: single-layer patches over the
// bed, whose thickness, read with a micrometer, is the gap under the nozzle.
//
// In the order in which data passes:
//
//   - Settings are what the person prints with: sizes, speeds, temperatures, and
//     start and end files of their own.
//   - Plan lays the patches out over an area, one of them at the zero place, and
//     checks sizes, bounds and temperatures; a Print is what it found good.
//   - Print.Write writes the file, Print.Sheet a worksheet to print, with the bed
//     plan and places to write.
//
// # Shape
//
// A patch is a square with a tab at the left end of its front edge: the tab says
// how the patch lay on the bed, and is what one peels it off by. Both are
// covered by one stroke to and fro along X. A stroke of width w whose ends are
// square covers the area A with a path of length A/w - w, so that the extruded
// volume A x height is shared out along that length: what a patch gets is its
// area times its height, and nothing is added for flow.
//
// # Units
//
// mm, mm/s and degrees C, in the frame of the bed. E is mm of filament, absolute
// from zero at each patch.
//
// # Errors
//
// What cannot be printed (a place off the bed, a temperature above the limit, a
// start file that heats too far) is an error that says what and what to change.
package patches
