// Package record holds what a run is made of, from the place on the bed to the
// event log, and nothing that acts.
//
// The nouns, in the order in which data passes:
//
//   - Place is a point of the bed, Nozzle a position of the machine; only a
//     Lever turns one into the other, so that they cannot be mixed up.
//   - Setup is everything that was known when the run began: the printer's
//     identity, its lever, travel, bed, map area, and the Criteria by which the
//     run will be judged, each with its Source.
//   - Event is one thing that happened: a Touch, a Gauging, a Question, a
//     switch that was thrown, a Problem. Events are appended, never changed.
//   - Run is the fold of its events. Everything else (analysis, page, table) is
//     a pure function of a Run.
//
// # Units
//
// Lengths are mm, times seconds since the run's start on a monotonic clock,
// angles rad. Nodes of the stored map are whole micrometres, so that a digest
// over them is the same on every machine. The frame is X to the right, Y to the
// back, Z up from the bed (axis naming: ISO 841).
//
// # Concurrency
//
// Values are plain data. A Run may be read by many once nobody adds to it;
// Clone gives a copy to keep.
//
// # Errors
//
// Fold and Run.Add refuse an event that cannot follow what is there (a number
// out of order, a body of no kind or of two). They never drop one in silence.
//
// # Versions
//
// Opened.Version is the version of this format; Fold refuses one that it does
// not know.
package record
