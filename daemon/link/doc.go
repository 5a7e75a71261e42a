// Package link has the printer: it opens the port, greets and identifies the printer, and
// lends it to one job at a time.
//
// The nouns, in the order in which data passes:
//
//   - Errand is a command of the owner that has another program let the port go.
//   - Facts are what the printer answered when it was identified.
//   - Link keeps it within reach, and makes the way to it again when it is lost.
//   - Loan is the printer, promised to one job, which opens it and gives it back.
//   - State is a snapshot of the Link.
//
// # Concurrency
//
// A Link has a lock of its own, and may be asked from anywhere. A session that died is
// never used again, so that a late answer cannot be taken for another command's.
//
// # Errors
//
// What a person can mend is an *api.Error with what to do.
package link
