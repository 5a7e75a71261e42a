package record

import "fmt"

// Problem is why something was refused, failed or cannot be told: the one type for it, from
// the head to the API. A run keeps those that ended it (Event.Fault).
type Problem struct {
	// Status is the class of an answer, by the status codes of HTTP: 409 the state does not
	// allow it, 422 what was asked is out of bounds. 0: a failure, or a reason.
	Status int    `json:"-"`
	Code   string `json:"code" about:"for programs to branch on"`
	Text   string `json:"text" about:"the act and the cause"`
	Hint   string `json:"hint" about:"what to do"`
	// Missing names what was missing: the cautions that were not confirmed.
	Missing []string `json:"missing,omitempty" about:"what was missing"`
	// RetryAfter is in seconds; 0 if trying again does not help by itself.
	RetryAfter int `json:"-"`
	// Cause is the error behind it, nil if there is none.
	Cause error `json:"-"`
}

// Error says the act, then the cause; of an answer also code and hint, in one line.
func (p *Problem) Error() string {
	switch {
	case p.Status != 0 && p.Hint != "":
		return fmt.Sprintf("%s (%s): %s", p.Text, p.Code, p.Hint)
	case p.Status != 0:
		return fmt.Sprintf("%s (%s)", p.Text, p.Code)
	case p.Cause != nil:
		return fmt.Sprintf("%s: %v", p.Text, p.Cause)
	}
	return p.Text
}

// Unwrap returns the cause.
func (p *Problem) Unwrap() error { return p.Cause }
