package results

import (
	"testing"

	"abbed/probe/record"
)

// A run that failed says plainly why, then what to do; what the wire said stands in its
// error.
func TestEndingPlainly(t *testing.T) {
	run := record.Run{Ended: &record.Ended{State: record.EndFailed}, Faults: []record.Problem{{Code: "lost", Text: "probe: touch: read: EOF", Hint: "check the cable"}}}
	if got, want := Ending(run), "The run failed: the link to the printer is lost. What was measured is kept. Next: check the cable."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	run.Faults[0].Code = "of another version"
	if got, want := Ending(run), "The run failed: probe: touch: read: EOF. What was measured is kept. Next: check the cable."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
