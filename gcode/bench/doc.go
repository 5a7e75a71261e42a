// Package bench is the virtual printer: the far end of the wire. It shares no
// code with what it tests; it has its own parser, geometry, noise and faults.
//
// Nouns, from the far side to the wire:
//
//   - a Scenario names one machine, with as a rule one thing off, and says
//     which finding a program should come to first;
//   - package mechanics: a Machine is the geometry (Func error motions, a Shape of
//     the bed, the lever, the zero place), all turned by exact rotations; a Probe is
//     what goes wrong at a touch: scatter, outliers, play, drift, wheels that slip;
//   - package wire: frames, words, and a Wording for all that is said. A Wire is how
//     the printer behaves on the line;
//   - a Printer is one specimen: a Scenario with a seed, a speed, a wording
//     and Faults. Serve answers one connection; Pty does so on a
//     pseudo-terminal;
//   - a Lie is a way in which the probe tells what is not so, from a touch on;
//   - Truth is what only the bench knows; Safety is what the machine saw of
//     itself; a Violation is what must never be, whatever a program was told;
//     Blade is what a hand at the feeler gauge feels.
//
// # Units
//
// mm, rad, s, deg C. Virtual seconds are real ones times Options.Speed. The
// frame is X right, Y back, Z up. A world place is where the nozzle is; the
// controller's own place is the same less an origin, found by homing.
//
// # Concurrency
//
// A Printer may be used from any goroutine. Each Serve runs a reader, a
// writer, perhaps a chatterer, and obeys commands itself, each under the printer's
// lock, which it lets go while it waits or says something; all end with it.
// Moves need no goroutine: the queue holds them with their virtual times, and
// whoever looks settles it. Everything waits on timers and channels, so that
// it costs no time in a testing/synctest bubble.
//
// # Errors
//
// What comes over the wire is never an error here but an answer. A slip of the
// programmer (a map of one node) panics.
package bench
