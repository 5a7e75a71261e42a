// Package web serves the daemon to people and programs: the API of version 1,
// its description (OpenAPI 3.1), and, through package page, the page.
//
// The nouns, in the order in which a request passes: a route is one method of
// one path; body reads what was sent, strictly; the route asks the api.Desk;
// answer writes what came, or the refusal. events does the same again and again
// as server-sent events. The description is the promise that a test holds every
// route to.
//
// Who may do what is not decided here: package access stands before this
// handler.
//
// # Units
//
// Those of package api: mm, seconds, degrees C; angles in degrees.
//
// # Concurrency
//
// The handler keeps no state between requests but the Desk. No lock is held
// while a request is answered. An event stream sets a write deadline before
// each write, and ends when its request's context ends: the server must cancel
// its base context at shutdown (http.Server.RegisterOnShutdown).
//
// # Errors
//
// Every refusal is an api.Refusal as JSON, with the status of the api.Error. A
// Desk that fails in another way is answered 500 with the code internal, and
// the log tells the rest. Sizes and JSON are checked before the Desk is asked:
// 413 for a body above MaxBody, 400 for bytes that are not JSON, 415 for
// another content type, 422 for JSON of another shape.
package web
