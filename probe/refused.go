package probe

import (
	"errors"
	"fmt"

	"abbed/probe/record"
)

// Refused says why an action of the person, or a movement, is not done; nothing
// has moved. Code is stable, Text says the act and the cause, Hint what to do.
type Refused struct {
	Code string
	Text string
	Hint string
}

// Error gives the text.
func (r *Refused) Error() string { return "probe: " + r.Text }

func refuse(code, hint, text string, args ...any) *Refused {
	return &Refused{Code: code, Hint: hint, Text: fmt.Sprintf(text, args...)}
}

// CutError ends a run before its last step for a reason that is a finding; the
// run is done, not failed.
type CutError struct{ record.Cut }

// Error gives the sentence of the finding.
func (c *CutError) Error() string { return "probe: " + c.Text }

// Fault is a failure of the machine or of the dialogue with it.
type Fault struct {
	Code string
	Text string
	Hint string
	Err  error
}

// Error says the act, then the cause.
func (f *Fault) Error() string {
	if f.Err != nil {
		return fmt.Sprintf("probe: %s: %v", f.Text, f.Err)
	}
	return "probe: " + f.Text
}

// Unwrap returns the cause.
func (f *Fault) Unwrap() error { return f.Err }

func fault(err error, code, hint, text string, args ...any) *Fault {
	return &Fault{Code: code, Hint: hint, Text: fmt.Sprintf(text, args...), Err: err}
}

// AsCut returns the cut in err, or nil.
func AsCut(err error) *record.Cut {
	var c *CutError
	if errors.As(err, &c) {
		return &c.Cut
	}
	return nil
}
