// Package room lets the daemons of one machine, each with a printer of its own,
// know of each other: a directory that they share, with one small file each.
//
// The nouns, in the order in which data passes: a Chair is a daemon's own place
// in the directory; Keep writes there what its Board shows; List reads the files
// of all, whose daemon may have ended meanwhile, as Neighbours (package api).
//
// Nothing that stands in the files is believed further than to be shown: they
// may be written by whoever may write to the directory.
//
// # Concurrency
//
// Keep runs in a goroutine of its own until its context ends; List may be called
// from many. Files are replaced as a whole, so that no reader sees half of one.
//
// # Errors
//
// A directory that cannot be read is an error; one that cannot be written is told
// once with a hint and tried again. A file in it that cannot be read is left out.
package room
