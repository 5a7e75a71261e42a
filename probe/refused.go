package probe

import (
	"errors"
	"fmt"

	"abbed/probe/record"
)

// conflicts are the refusals because the state does not allow it; all others are because what
// was asked is out of bounds.
var conflicts = map[string]bool{
	"wrong-state": true, "lower-first": true, "nothing-to-forget": true, "zero-needed": true,
	"foreign-use": true, "unhomed": true, "unknown-prompt": true,
}

// refuse says why an action of the person, or a movement, is not done; nothing has moved.
func refuse(code, hint, text string, args ...any) *record.Problem {
	status := 422
	if conflicts[code] {
		status = 409
	}
	return &record.Problem{Status: status, Code: code, Hint: hint, Text: fmt.Sprintf(text, args...)}
}

// CutError ends a run before its last step for a reason that is a finding; the
// run is done, not failed.
type CutError struct{ record.Cut }

// Error gives the sentence of the finding.
func (c *CutError) Error() string { return "probe: " + c.Text }

// fault is a failure of the machine or of the dialogue with it.
func fault(err error, code, hint, text string, args ...any) *record.Problem {
	return &record.Problem{Code: code, Hint: hint, Text: "probe: " + fmt.Sprintf(text, args...), Cause: err}
}

// AsCut returns the cut in err, or nil.
func AsCut(err error) *record.Cut {
	var c *CutError
	if errors.As(err, &c) {
		return &c.Cut
	}
	return nil
}
