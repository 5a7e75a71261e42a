// Package metrics shows the Board to Prometheus. It is the only importer of
// that library.
//
// New returns the handler of /metrics, in a registry of its own; each scrape
// reads one Snapshot, so that all values of a scrape belong together.
//
// # Units
//
// Base units: meters, seconds, degrees Celsius, ratios 0..1. What is not known
// is absent, never 0.
//
// deploy/metrics/metrics.md lists every metric with its labels; a test holds it to
// the code. A label takes one of a few words that stand in the code, or comes
// from the build: the number of series does not grow with what is printed.
//
// # Concurrency
//
// The handler may be called from many goroutines.
//
// # Errors
//
// New panics if a metric is described wrongly: a slip of the programmer.
package metrics
