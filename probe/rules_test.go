package probe_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"abbed/probe"
	"abbed/probe/record"
)

// The rules of gauging are the project's own safety rules (no outside source):
// the numbers below were worked out by hand from their text.

func near(a, b float64) bool { return math.Abs(a-b) < 1e-9 }

func TestFirstArrival(t *testing.T) {
	// A lever of 50 mm (30, 40): 50 sin 3 deg = 2.616798 mm.
	w := probe.First(0.12, record.Lever{X: 30, Y: 40})
	if !near(w.Predicted, 0.12) || math.Abs(w.Arrival-(0.12+1+2.6167978)) > 1e-6 || !near(w.Floor, 0.12-0.5) || w.Doubt != 0 {
		t.Errorf("%+v", w)
	}
}

func TestLaterArrival(t *testing.T) {
	zero := record.Place{U: 100, V: 100}
	p := record.Place{U: 160, V: 100}
	// Only the zero place gauged: its gap error 0.05 is expected, 1 mm per 100 mm
	// of hop is added to the arrival and is the doubt.
	w := probe.Later(0.30, p, []probe.At{{Place: zero, Raw: 0.05}})
	if !near(w.Predicted, 0.25) || !near(w.Arrival, 0.25+1+0.6) || !near(w.Doubt, 0.6) || !near(w.Floor, 0.25-0.05-0.18) {
		t.Errorf("one gauged: %+v", w)
	}
	// Two gauged, 50 mm apart, 0.05 and 0.10: the line gives 0.16 at 60 mm from
	// the second.
	two := []probe.At{{Place: zero, Raw: 0.05}, {Place: record.Place{U: 150, V: 100}, Raw: 0.10}}
	w = probe.Later(0.30, record.Place{U: 210, V: 100}, two)
	if !near(w.Predicted, 0.30-0.16) || !near(w.Arrival, w.Predicted+1) || !near(w.Doubt, 0.18) || !near(w.Floor, w.Predicted-0.05-0.18) {
		t.Errorf("two gauged: %+v", w)
	}
	// Across the line two places on it say nothing: the mean's height stays.
	w = probe.Later(0.30, record.Place{U: 125, V: 160}, two)
	if !near(w.Predicted, 0.30-0.075) {
		t.Errorf("across: %+v", w)
	}
}

func TestSecondArrival(t *testing.T) {
	w := probe.Again(0.21, 0.20, 0.10)
	if !near(w.Predicted, 0.21) || !near(w.Arrival, 0.21+0.10+0.15) || !near(w.Floor, 0.16) || w.Doubt != 0 {
		t.Errorf("%+v", w)
	}
}

// TestReturn: a later visit to a place is a second record, unless the touches say
// that the frame has moved; then they foretell it, and nothing arrives lower.
func TestReturn(t *testing.T) {
	const contact, raw, blade, floor = 0.21, 0.30, 0.10, 0.5
	for _, c := range []struct{ touched, predicted, arrival float64 }{
		{contact + raw, contact, 0.46},
		{contact + raw + 0.029, contact, 0.46},
		{contact + raw - 0.029, contact, 0.46},
		{contact + raw + 0.04, 0.25, 0.50},
		{contact + raw - 0.04, 0.17, 0.46},
	} {
		w := probe.Back(c.touched, raw, contact, blade, floor)
		if !near(w.Predicted, c.predicted) || !near(w.Arrival, c.arrival) || !near(w.Floor, c.predicted-floor) {
			t.Errorf("touched %.3f: %+v, want predicted %v, arrival %v", c.touched, w, c.predicted, c.arrival)
		}
	}
}

// TestStrayTouch: one stray touch at a gauging place asks for more, and does not
// move what is foretold.
func TestStrayTouch(t *testing.T) {
	for _, c := range []struct {
		zs     []float64
		agree  bool
		middle float64
	}{
		{[]float64{0.21}, true, 0.21},
		{[]float64{0.21, 0.22}, true, 0.215},
		{[]float64{0.21, -0.04}, false, 0.085},
		{[]float64{0.21, -0.04, 0.22}, true, 0.21},
		{[]float64{0.21, -0.04, 0.46}, false, 0.21},
		{[]float64{0.21, -0.04, 0.46, 0.22}, false, 0.215},
		{[]float64{0.21, -0.04, 0.46, 0.22, 0.20}, true, 0.21},
	} {
		if got := probe.Agree(c.zs...); got != c.agree {
			t.Errorf("%v: agree %v", c.zs, got)
		}
		if got := probe.Middle(c.zs...); !near(got, c.middle) {
			t.Errorf("%v: middle %v, want %v", c.zs, got, c.middle)
		}
	}
}

func TestMaxStep(t *testing.T) {
	const blade = 0.10
	for name, c := range map[string]struct{ r, d, want float64 }{
		"high, sure":                      {1.0, 0, 0.5},
		"high, doubtful":                  {1.0, 0.6, 0.2},
		"the doubt takes all":             {0.5, 0.6, 0.1}, // min(r, 0.2) / 2
		"low, doubtful":                   {0.15, 0.24, 0.075},
		"rounded down":                    {0.1237, 0, 0.061},
		"above 0.05":                      {0.10, 0, 0.05},
		"just above 0.05":                 {0.051, 0, 0.05},
		"at 0.05":                         {0.05, 0, 0.02},
		"below where contact is foretold": {-0.03, 0, 0.02},
	} {
		w := probe.Way{Predicted: 0.2, Doubt: c.d}
		if got := probe.MaxStep(w, 0.2+blade+c.r, blade); !near(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

func TestRoom(t *testing.T) {
	zero := record.Place{U: 100, V: 100}
	far := record.Place{U: 180, V: 100}
	// Nothing gauged: 1 mm per 100 mm from the zero place.
	if got := probe.RoomAt(2, zero, nil, far); !near(got, 1.2) {
		t.Errorf("nothing gauged: %v", got)
	}
	// Two gauged, 0.2 mm on 40 mm: 0.5 mm per 100 mm is steeper than the least.
	ats := []probe.At{{Place: zero}, {Place: record.Place{U: 140, V: 100}, Raw: 0.2}}
	if got := probe.RoomAt(2, zero, ats, far); !near(got, 2+0.2-40*0.005) {
		t.Errorf("two gauged, steep: %v", got)
	}
	// Flat: 0.3 mm per 100 mm at least.
	ats[1].Raw = 0
	if got := probe.RoomAt(2, zero, ats, far); !near(got, 2-40*0.003) {
		t.Errorf("two gauged, flat: %v", got)
	}
}

// TestRoute: whatever the printer, the zero place comes first, each place lies
// within 80 mm of one gauged before and in the reach, with room under the
// nozzle; and if nothing is cramped the gauged area with its margin covers the
// reach.
func TestRoute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Float64Range(120, 420).Draw(t, "bed")
		s := record.Setup{Criteria: record.DefaultCriteria(), Trigger: rapid.Float64Range(0.6, 4).Draw(t, "trigger"), TriggerKnown: true}
		s.Reach = record.Rect{X0: 5, Y0: 5, X1: size - rapid.Float64Range(5, 60).Draw(t, "x"), Y1: size - rapid.Float64Range(5, 60).Draw(t, "y")}
		s.Zero = record.Place{
			U: rapid.Float64Range(s.Reach.X0, s.Reach.X1).Draw(t, "zu"),
			V: rapid.Float64Range(s.Reach.Y0, s.Reach.Y1).Draw(t, "zv"),
		}
		rate := rapid.Float64Range(-0.002, 0.002).Draw(t, "rate")
		g := func(p record.Place) float64 { return rate * p.U }
		places, cramped := probe.Walk(probe.DefaultPlan(), s, false, g)
		if len(places) == 0 || places[0] != s.Zero {
			t.Fatalf("begins at %v", places)
		}
		for i, p := range places[1:] {
			nearest := math.Inf(1)
			for _, q := range places[:i+1] {
				nearest = min(nearest, p.Distance(q))
			}
			if nearest > 80+1e-9 {
				t.Errorf("place %d at %v is %.1f mm from the nearest gauged", i+1, p, nearest)
			}
			if !s.Reach.Has(p) {
				t.Errorf("place %d at %v is out of reach", i+1, p)
			}
			ats := make([]probe.At, 0, i+1)
			for _, q := range places[:i+1] {
				ats = append(ats, probe.At{Place: q, Raw: g(q)})
			}
			if room := probe.RoomAt(s.Trigger, s.Zero, ats, p); room < 0.3-1e-9 {
				t.Errorf("place %d at %v: room %.3f mm", i+1, p, room)
			}
		}
		area := record.Bound(places).Grown(s.Criteria.GaugedMargin)
		if !cramped && !(area.Has(record.Place{U: s.Reach.X0, V: s.Reach.Y0}) && area.Has(record.Place{U: s.Reach.X1, V: s.Reach.Y1})) {
			t.Errorf("the gauged area %+v does not cover the reach %+v", area, s.Reach)
		}
	})
}
