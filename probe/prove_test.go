package probe_test

import (
	"math"
	"testing"

	"abbed/probe"
	"abbed/probe/record"
)

// What proves a table, by hand. A blade: 2 hypot(3, 10) = 20.9 um, within 30; one
// sheet of paper once: 2 hypot(10, 15) = 36.1, twice 2 hypot(10, 10.6) = 29.2 um; a
// blade where the level is known to 12 um: 2 hypot(3, 12, 10) = 31.8, twice 28.9 um.
func TestProved(t *testing.T) {
	for name, c := range map[string]struct {
		off       float64
		records   int
		paper     bool
		tolerance float64
		level     float64 // its standard uncertainty
		proved    bool
	}{
		"a blade, once":                   {0.020, 1, false, 0.03, 0, true},
		"a blade, beyond":                 {0.031, 1, false, 0.03, 0, false},
		"a blade, a strict owner":         {0.001, 1, false, 0.02, 0, false},
		"a blade twice, a strict owner":   {0.001, 2, false, 0.02, 0, true},
		"paper, once":                     {0.001, 1, true, 0.03, 0, false},
		"paper, twice":                    {0.001, 2, true, 0.03, 0, true},
		"paper, beyond":                   {-0.031, 2, true, 0.03, 0, false},
		"a level known badly":             {0.001, 1, false, 0.03, 0.012, false},
		"a level known badly, twice":      {0.001, 2, false, 0.03, 0.012, true},
		"paper never, for a strict owner": {0, 6, true, 0.02, 0, false},
	} {
		criteria := record.DefaultCriteria()
		criteria.Tolerance = c.tolerance
		events := []record.Event{
			{Opened: &record.Opened{Version: record.Version, ID: "x", Setup: record.Setup{Criteria: criteria}, Proof: &record.Proof{Predicted: -0.1, PredictedU: c.level}}},
			{Confirmed: &record.Confirmed{Blade: 0.1, Paper: c.paper}},
		}
		for range c.records {
			events = append(events, record.Event{Gauging: &record.Gauging{Z: -0.1 - c.off + 0.1, Blade: 0.1, Levelled: true}})
		}
		for i := range events {
			events[i].N = int64(i + 1)
		}
		run, err := record.Fold(events)
		if err != nil {
			t.Fatal(err)
		}
		if shown, ok := probe.Proved(run); !ok || shown.Proved != c.proved || math.Abs(shown.Off-c.off) > 1e-9 {
			t.Errorf("%s: %+v", name, shown)
		}
	}
}

// What leaves the tolerance open asks for one more record, six at most; as many are
// made at the zero place.
func TestProvesUntilSettled(t *testing.T) {
	for name, c := range map[string]struct {
		offs          []float64
		there, atZero int
	}{
		"nothing yet":              {nil, 1, 0},
		"well within":              {[]float64{0.005}, 1, 1},
		"well beyond":              {[]float64{-0.060}, 1, 1},
		"just beyond":              {[]float64{0.031}, 2, 1},
		"just beyond, then within": {[]float64{0.031, 0.004, 0.009}, 3, 3}, // 14.7 +- 13.0 um
		"still at the edge":        {[]float64{0.031, 0.029, 0.028}, 4, 3},
		"at the edge to the end":   {[]float64{0.031, 0.029, 0.03, 0.03, 0.03, 0.03}, 6, 6},
	} {
		run := record.Run{Setup: record.Setup{Criteria: record.DefaultCriteria()}, Proof: &record.Proof{Predicted: -0.1}}
		for _, off := range c.offs {
			run.Gaugings = append(run.Gaugings, record.Gauging{Z: -off, Blade: 0.1})
		}
		if there, zero := probe.Proves(run, 0), probe.Proves(run, 1); there != c.there || zero != c.atZero {
			t.Errorf("%s: %d records there and %d at the zero place, want %d and %d", name, there, zero, c.there, c.atZero)
		}
	}
}

// What is off at the zero place as well is the level, and not the table.
func TestLevelOrTilt(t *testing.T) {
	for name, c := range map[string]struct {
		there, zero float64
		paper       bool
		proved      bool
		levelled    bool
	}{
		"both are off by as much":     {0.050, 0.047, false, false, true},
		"both are too low":            {-0.050, -0.035, false, false, true},
		"known too coarsely":          {0.050, 0.047, true, false, false},
		"only the place is off":       {0.050, 0.004, false, false, false},
		"both are off, and otherwise": {0.050, -0.020, false, false, false},
		"a part of each":              {0.080, 0.045, false, false, false},
		"the place is right":          {0.004, 0.050, false, true, false},
	} {
		events := []record.Event{
			{Opened: &record.Opened{Version: record.Version, ID: "x", Setup: record.Setup{Criteria: record.DefaultCriteria()}, Proof: &record.Proof{Predicted: -0.1}}},
			{Confirmed: &record.Confirmed{Blade: 0.1, Paper: c.paper}},
			{Gauging: &record.Gauging{Z: -c.there, Blade: 0.1, Levelled: true}},
			{Gauging: &record.Gauging{Spot: 1, Z: -c.zero, Blade: 0.1, Levelled: true}},
		}
		for i := range events {
			events[i].N = int64(i + 1)
		}
		run, err := record.Fold(events)
		if err != nil {
			t.Fatal(err)
		}
		shown, ok := probe.Proved(run)
		if !ok || shown.Proved != c.proved || shown.Levelled != c.levelled || shown.Level == nil || math.Abs(*shown.Level-c.zero) > 1e-9 {
			t.Errorf("%s: %+v", name, shown)
		}
	}
}
