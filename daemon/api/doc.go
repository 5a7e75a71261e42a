// Package api holds the shapes of the API, version 1, as Go types: what a
// program sends and what it gets. The page, the handlers, the client and the
// played person share them, and the served description is made of them: the tag about says
// what a field is, enum, minimum and the like what it may be.
//
// The nouns, in the order in which a job meets them: Printer (what is known,
// each value with its Source, and which steps can be done), Run (state,
// Progress, Prompt, Place, Fault), Record, Analysis (Measured values, Finding),
// Gap, Table (Node, Refused), SignOff, Applied, and Error for every refusal.
//
// # Units
//
// mm, seconds and degrees C; angles in degrees; times as in RFC 3339. A
// Measured value carries its standard uncertainty u, its 95 % interval
// lo95..hi95, its unit and its degrees of freedom (null if infinite).
//
// # Errors
//
// Every refusal is an *Error: what was wrong, why, and what to do, with a code
// that a program can branch on and the status of HTTP (RFC 9110).
package api
