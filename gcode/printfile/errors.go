package printfile

import (
	"errors"
	"fmt"
)

// ErrTwice is in the chain of the error about a file that was carried before.
var ErrTwice = errors.New("the file was carried before")

// LineError says why a line cannot be carried.
type LineError struct {
	Line  int64  // from 1
	Cause string // what is wrong
	Hint  string // what to do
	Err   error  // nil, or what it is
}

// Error gives line, cause and remedy.
func (e *LineError) Error() string {
	return fmt.Sprintf("printfile: line %d: %s: %s", e.Line, e.Cause, e.Hint)
}

// Unwrap returns Err.
func (e *LineError) Unwrap() error { return e.Err }
