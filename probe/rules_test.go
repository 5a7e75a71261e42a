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
	w := probe.First(0.12, 0.10, record.Lever{X: 30, Y: 40})
	if !near(w.Predicted, 0.12) || math.Abs(w.Arrival-(0.22+1+2.6167978)) > 1e-6 || !near(w.Floor, 0.12-0.5) || w.Doubt != 0 {
		t.Errorf("%+v", w)
	}
}

func TestEarlyArrivals(t *testing.T) {
	zero := record.Place{U: 100, V: 100}
	p := record.Place{U: 160, V: 100}
	// Only the zero place gauged: its gap error 0.05 is expected, to within 1 mm per
	// 100 mm; the touches say that the bed is at 0.25, the reading that it was at 0.20.
	one := []probe.At{{Place: zero, Raw: 0.05}}
	w := probe.Early(0.30, 0.10, p, one, []probe.At{{Place: zero, Raw: 0.20}})
	if !near(w.Predicted, 0.25) || !near(w.Arrival, 0.35+0.6+0.25) || !near(w.Doubt, 0.6) || !near(w.Floor, 0.25-0.05-0.18) {
		t.Errorf("one gauged: %+v", w)
	}
	// A probe that is 1 mm too low there does not bring the nozzle lower than the
	// reading allows.
	w = probe.Early(-0.70, 0.10, p, one, []probe.At{{Place: zero, Raw: 0.20}})
	if !near(w.Predicted, -0.75) || !near(w.Arrival, 0.30+0.6+0.25) {
		t.Errorf("one gauged, and a probe that lies: %+v", w)
	}
	// Two gauged, 50 mm apart, 0.05 and 0.10: the line gives 0.16 at 60 mm from
	// the second.
	two := []probe.At{{Place: zero, Raw: 0.05}, {Place: record.Place{U: 150, V: 100}, Raw: 0.10}}
	flat := []probe.At{{Place: zero, Raw: 0.1}, {Place: record.Place{U: 150, V: 100}, Raw: 0.1}}
	w = probe.Early(0.30, 0.10, record.Place{U: 210, V: 100}, two, flat)
	if !near(w.Predicted, 0.30-0.16) || !near(w.Arrival, 0.24+0.18+0.25) || !near(w.Doubt, 0.18) || !near(w.Floor, w.Predicted-0.05-0.18) {
		t.Errorf("two gauged: %+v", w)
	}
	// Across the line two places on it say nothing: the line's height stays, and the
	// doubt is that of one.
	w = probe.Early(0.30, 0.10, record.Place{U: 150, V: 160}, two, flat)
	if !near(w.Predicted, 0.30-0.10) || !near(w.Doubt, 0.6) {
		t.Errorf("across: %+v", w)
	}
}

func TestModelArrival(t *testing.T) {
	w := probe.ByModel(0.30, 0.12, 0.02, 0.10, 50)
	if !near(w.Predicted, 0.18) || !near(w.Arrival, 0.28+0.08+0.20) || !near(w.Floor, 0.18-0.05-0.15) || !near(w.Doubt, 0.02) {
		t.Errorf("%+v", w)
	}
	if w = probe.ByModel(0.30, 0.12, 0.001, 0.10, 50); !near(w.Arrival, 0.28+0.04+0.20) {
		t.Errorf("known well: %+v", w)
	}
}

// TestReturn: a later visit to a place is a second record, unless the touches say
// that the frame has moved; then they predict it, and nothing arrives lower.
func TestReturn(t *testing.T) {
	const contact, raw, blade, floor = 0.21, 0.30, 0.10, 0.5
	for _, c := range []struct{ touched, predicted, arrival float64 }{
		{contact + raw, contact, 0.41},
		{contact + raw + 0.029, contact, 0.41},
		{contact + raw - 0.029, contact, 0.41},
		{contact + raw + 0.04, 0.25, 0.45},
		{contact + raw - 0.04, 0.17, 0.41},
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

// hopMost is how far a place may lie from the gauged ones, mm: 80 while fewer than three
// are, 120 once the model says how well it knows where the gauge drags (the project's
// safety rule 5).
func hopMost(gauged int) float64 {
	if gauged < 3 {
		return 80
	}
	return 120
}

// TestRoute: whatever the printer, the zero place comes first, each place lies
// within the longest hop of one gauged before and in the reach, with room under the
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
			if nearest > hopMost(i+1)+1e-9 {
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
