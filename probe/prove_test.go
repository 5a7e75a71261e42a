package probe_test

import (
	"testing"

	"abbed/probe"
	"abbed/probe/record"
)

// What proves a table, by hand. A blade: 2 hypot(3, 10) = 20.9 um, within 30; one
// sheet of paper once: 2 hypot(10, 15) = 36.1, twice 2 hypot(10, 10.6) = 29.2 um.
func TestProved(t *testing.T) {
	for name, c := range map[string]struct {
		off       float64
		records   int
		paper     bool
		tolerance float64
		proved    bool
	}{
		"a blade, once":                   {0.020, 1, false, 0.03, true},
		"a blade, beyond":                 {0.031, 1, false, 0.03, false},
		"a blade, a strict owner":         {0.001, 1, false, 0.02, false},
		"a blade twice, a strict owner":   {0.001, 2, false, 0.02, true},
		"paper, once":                     {0.001, 1, true, 0.03, false},
		"paper, twice":                    {0.001, 2, true, 0.03, true},
		"paper, beyond":                   {-0.031, 2, true, 0.03, false},
		"paper never, for a strict owner": {0, 6, true, 0.02, false},
	} {
		criteria := record.DefaultCriteria()
		criteria.Tolerance = c.tolerance
		events := []record.Event{
			{Opened: &record.Opened{Version: record.Version, ID: "x", Setup: record.Setup{Criteria: criteria}, Proof: &record.Proof{Predicted: -0.1}}},
			{Confirmed: &record.Confirmed{Blade: 0.1, Paper: c.paper}},
		}
		for range c.records {
			events = append(events, record.Event{Gauging: &record.Gauging{Z: -0.1 - c.off + 0.1, Blade: 0.1}})
		}
		for i := range events {
			events[i].N = int64(i + 1)
		}
		run, err := record.Fold(events)
		if err != nil {
			t.Fatal(err)
		}
		if proved, _, ok := probe.Proved(run); !ok || proved != c.proved {
			t.Errorf("%s: proved %v", name, proved)
		}
	}
}
