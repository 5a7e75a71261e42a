package api

import "time"

// Check is what the calendar says of the quick check.
type Check struct {
	// Every is how long after a test the next check is due, s; 0: none is asked
	// for.
	Every float64 `json:"every_s"`
	// Last is when the machine was last tested for steadiness, by whatever run;
	// nil if never.
	Last *time.Time `json:"last"`
	// Due is when the next check is due, nil without a calendar.
	Due *time.Time `json:"due"`
	// Waits says why a check that is due has not begun, "" otherwise.
	Waits string `json:"waits,omitempty"`
	// Sentence says it for people.
	Sentence string `json:"sentence"`
}
