// Package config holds what the owner can set, and reads it: from a YAML file,
// from ABBED_... in the environment and from flags. Flags win over the
// environment, the environment over the file, the file over the defaults.
//
// The nouns, in the order in which data passes: Settings is the whole, with
// Default; a Field describes one setting, what it is for and what it costs, and the
// table of Fields makes the flags, the names in the environment, the checks and
// the example file; Load reads the sources; Validate gives every Fault at once.
//
// # Strictness
//
// A key that is not known is a fault, with the nearest known key beside it; so
// is a variable ABBED_... that names no setting. Nothing is turned into
// another type in silence: true is not 1, "5" is not 5 in a file, 2.7 is not a
// whole number, and a duration has a unit.
//
// # Units
//
// Lengths are mm, speeds mm/s, temperatures degrees C; slopes are mm per
// 100 mm, as people say them, and the drift rate is mm per minute.
//
// # Concurrency
//
// Settings are plain data. Load reads into a fresh value; a caller that
// reloads checks the new one and swaps it in.
//
// # Errors
//
// Load returns an *Error that lists every Fault: where it was read, which
// field, its value, and what to do.
package config
