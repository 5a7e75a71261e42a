// Package fit holds the plain numerics under analysis: weighted least squares
// with its covariance, the quantiles that turn it into intervals, robust
// estimates, the pure error of repeats. It knows nothing of printers.
//
// The nouns: a Design is a matrix of rows, one an observation; Least returns a
// Result.
//
// # Units
//
// None: what goes in comes out.
//
// # Errors
//
// Data that are not finite, ragged or too few are errors (the world's slip);
// a slice of the wrong length is the programmer's slip and panics. A design
// without full rank is no error: Result.Rank and Result.Condition say so, and
// the caller decides.
//
// # References
//
// Golub, Van Loan, Matrix Computations, ch. 5 (QR, SVD, rank; from memory);
// JCGM 100:2008 (GUM) annex G and H.3; NIST StRD for the checks.
package fit
