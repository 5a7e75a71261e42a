// Package status holds what is to be seen of the daemon at one moment.
//
// The nouns, in the order in which data passes: the daemon gathers a Snapshot
// and publishes it on the Board; whoever shows something (metrics, a page, a
// watchdog) takes the Latest one and waits for Changed.
//
// # Units
//
// Those of package api: mm, seconds, degrees C.
//
// # Concurrency
//
// A Snapshot is never changed after it was published, so it may be read by
// many without a lock. A Board may be used from any goroutine; no method waits
// and none calls out.
//
// # Errors
//
// None: publishing and reading cannot fail.
package status
