// Package ask has the commands that ask a printer's daemon, or work on a record in its place:
// the caller finds the daemon, a verb asks it, and what it answers is told to people or as JSON.
package ask
