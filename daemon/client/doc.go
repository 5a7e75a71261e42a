// Package client is the API from the other side: what our own subcommands, the
// played person of the demonstration and anybody's program in Go call.
//
// The nouns, in the order in which data passes: a Client knows where the daemon
// is and the operator's token; each verb of the API (api.Verbs) is a function of
// it; Events follows a run, and Wait follows it until something is so.
//
// # Units
//
// Those of package api: mm, seconds, degrees C; angles in degrees.
//
// # Concurrency
//
// A Client may be used from many goroutines.
//
// # Errors
//
// A refusal is an *api.Error with its status and, where trying again helps, its
// RetryAfter; Patiently does that. Everything else (no connection, an answer
// that is not the API's) is wrapped with the verb and the path. ErrOver says
// that a run ended before what was waited for.
package client
