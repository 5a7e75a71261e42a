// Package steady judges whether a machine does the same twice, on its touches alone: the
// gates that stand before the model, which never explains away what does not repeat.
//
// The nouns, in the order in which data passes:
//
//   - Clean makes a run usable; the series are its touches by what they were made for.
//   - Steadiness is what the repeat test, the passes over one row and the returns to the
//     base point tell: scatter, drift, play, wandering. Stability is that as data, with
//     its Gates.
//   - A line is a row of touches; each is held against a smooth prediction by the others
//     (line.go). What is left is odds of a wheel's flats, whose phase stays or walks
//     (flats.go), and the Ride.
//   - Survey is the dense pattern on its grid without drift and play, Profile its columns
//     and rows; Paired is a reading at the gauge with the touches beside it.
//
// # Units
//
// mm, s. Intervals are 95 %, by Student's t.
package steady
