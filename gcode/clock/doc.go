// Package clock gives the time of the job: wall time, or wall time that runs
// several times faster, as in the demo, where printer and program are sped up
// alike and the records should still carry the job's seconds.
//
// # Units
//
// Every duration that goes in or comes out is in the job's time, except where
// "real" is said.
//
// # Concurrency
//
// A Clock is never changed after it is made; all methods may be called from
// anywhere. Under testing/synctest a Clock made inside the bubble follows the
// bubble's time.
package clock
