// Package description holds the OpenAPI 3.1 document of the API: what the daemon promises
// to programs. Paths come from the verbs of package api and shapes from its types, whose tags say
// what each field is; webtest compares every answer with them.
package description
