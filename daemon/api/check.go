package api

import "time"

// Check is what the calendar says of the quick check.
type Check struct {
	Every float64 `json:"every_s" about:"how long after a test the next check is due; 0: none is asked for"`
	// Last is when the machine was last tested for steadiness, by whatever run;
	// nil if never.
	Last *time.Time `json:"last" about:"of the last test for steadiness"`
	// Due is when the next check is due, nil without a calendar.
	Due      *time.Time `json:"due"`
	Waits    string     `json:"waits,omitempty" about:"why a check that is due has not begun"`
	Sentence string     `json:"sentence"`
}
