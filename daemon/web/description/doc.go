// Package description holds the OpenAPI 3.1 document of the API: what the
// daemon promises to programs. It is written by hand, and apart from the types
// of package api, so that each holds the other; webtest compares every answer
// with it.
//
// One file describes one group of paths and the shapes that they use; shapes
// are JSON Schema 2020-12, as OpenAPI 3.1 has it.
package description
