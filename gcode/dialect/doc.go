// Package dialect understands what a printer says, and puts into its words what
// it should do. A Session hears, a Dialect understands.
//
// The nouns, in the order in which data passes:
//
//   - Words are plain data from the settings: a template for each command and,
//     where an owner needs it, a pattern with named groups for an answer.
//     Default is for printers with a touch word (G30), Straight for machines
//     that probe straight down (G38.2).
//   - Dialect is Words, checked and compiled once.
//   - Its builders (Touch, Home, Lever, ...) give gcode.Query and gcode.Motion.
//     They take typed numbers only: no text from network, file or printer ever
//     enters a command.
//   - Its readers (ReadTouch, ReadMap, ...) take a gcode.Reply and give values.
//
// # How answers are understood
//
// By shape, never by sentence. A touch is a line that holds values of X, Y and
// Z in this order, whatever the words between; a map is rows of numbers; a
// command that the printer does not know is known by the missing answer. What
// is not there is not believed: a number that runs into a letter, has an
// exponent, is not finite or is absurdly large is no number, and a line that
// came damaged is not read. A pattern of the owner replaces the shape.
//
// # Units
//
// Lengths mm (nodes of the map: whole um), feeds mm/min as on the wire,
// temperatures degrees C.
//
// # Concurrency
//
// A Dialect is never changed; all methods may be called from anywhere.
//
// # Errors
//
// New returns a *WordsError with all faults at once. Readers return ok false
// when the answer is not there; ReadMap also an error when a map is there but
// cannot be trusted. Builders panic on numbers that are not finite.
//
// The words are common practice, from memory, no source; they go back to
// RS-274/NGC (NIST IR 6556).
package dialect
