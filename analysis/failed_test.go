package analysis_test

import (
	"slices"
	"testing"

	"abbed/analysis"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// TestUnsound: what a failed run gauged is good where what ended it says nothing
// against it, and in doubt after anything else, known or not.
func TestUnsound(t *testing.T) {
	failed := &record.Ended{State: record.EndFailed}
	for name, c := range map[string]struct {
		ended   *record.Ended
		codes   []string
		unsound bool
	}{
		"it goes on":                       {nil, nil, true},
		"done":                             {&record.Ended{State: record.EndDone}, nil, false},
		"stopped":                          {&record.Ended{State: record.EndStopped}, nil, false},
		"the cable was pulled":             {failed, []string{"lost"}, false},
		"the program was killed":           {failed, []string{"interrupted"}, false},
		"the board restarted":              {failed, []string{"printer-restarted"}, false},
		"the head stood elsewhere":         {failed, []string{"not-there"}, true},
		"the position changed by itself":   {failed, []string{"foreign-use"}, true},
		"it had not homed":                 {failed, []string{"not-homed"}, true},
		"lines came in damaged":            {failed, []string{"garbled"}, true},
		"an event is not what was written": {failed, []string{"store-damaged"}, true},
		"the second of two":                {failed, []string{"lost", "not-there"}, true},
		"nobody knows":                     {failed, nil, true},
		"a fault of another version":       {failed, []string{"some-day"}, true},
	} {
		run := record.Run{ID: "b", Ended: c.ended}
		for _, code := range c.codes {
			run.Faults = append(run.Faults, record.Problem{Code: code})
		}
		why := steady.Unsound(run)
		if (why != nil) != c.unsound || why != nil && (why.Text == "" || why.Hint == "") {
			t.Errorf("%s: %+v", name, why)
		}
	}
}

// TestFinished: of a run that failed, the place that it was cut off at does not count
// unless the probe touched there again after it.
func TestFinished(t *testing.T) {
	m := good()
	run := gaugedLater(m, "later", 1, record.Place{U: 215, V: 132.5}, record.Place{U: 215, V: 50})
	all := analysis.Joining(run).Gaps
	if len(all) != 4 {
		t.Fatalf("%d of 4 records", len(all))
	}
	run.Ended, run.Faults = &record.Ended{State: record.EndFailed}, []record.Problem{{Code: "lost"}}
	if whole := analysis.Joining(run).Gaps; !slices.Equal(whole, all) {
		t.Errorf("touched after each: %+v, want %+v", whole, all)
	}
	last := run.Gaugings[3]
	run.Touches = slices.DeleteFunc(run.Touches, func(x record.Touch) bool { return x.T > last.T })
	cut := analysis.Joining(run).Gaps
	if len(cut) != 3 || slices.ContainsFunc(cut, func(g record.GapReading) bool { return g.Event == last.N }) {
		t.Errorf("cut off at the last place: %+v", cut)
	}
	run.Ended = &record.Ended{State: record.EndStopped}
	if n := len(analysis.Joining(run).Gaps); n != 4 {
		t.Errorf("stopped there: %d of 4 records", n)
	}
}
