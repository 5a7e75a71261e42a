// Package outside takes in what this program did not make: texts, files and JSON.
// Each edge of the program lets it in by here, so that what is within needs no
// second look.
//
// The nouns: Text, which can be shown on a page and in a terminal; Read, which reads
// a file of a size that is expected, and never waits for what is no file; JSON, which
// reads each member by its exact name.
//
// # Errors
//
// Read and JSON say the cause; the caller knows the act and the remedy. MemberError
// is to be branched on: the bytes are JSON, and of another shape.
package outside
