// Package description holds the OpenAPI 3.1 document of the API: what the daemon promises
// to programs. Paths are written here, a file for each group; shapes come from the types of
// package api, whose tags say what each field is; webtest compares every answer with them.
package description
