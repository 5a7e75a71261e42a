package probe_test

import (
	"math"
	"testing"

	"abbed/probe"
	"abbed/probe/record"
)

var middle = record.Place{U: 117.5, V: 117.5}

func at(u, v float64) record.Place { return record.Place{U: u, V: v} }

// A bed that slopes by 1 mm per 100 mm, and bends and twists by as much as a printer
// that can still be corrected, is no fault of the probe: surfaces of known shape, at
// the hops of a gauging.
func TestGroundHoldsBeds(t *testing.T) {
	for name, z := range map[string]func(p record.Place) float64{
		"flat":       func(record.Place) float64 { return 0.3 },
		"slope in X": func(p record.Place) float64 { return 0.01 * (p.U - 117.5) },
		"slope in Y": func(p record.Place) float64 { return -0.01 * (p.V - 117.5) },
		"trough":     func(p record.Place) float64 { return 0.25 * math.Pow((p.V-117.5)/110, 2) },
		"twisted":    func(p record.Place) float64 { return 0.5 * (p.U - 117.5) * (p.V - 117.5) / 110 / 110 },
		"waves":      func(p record.Place) float64 { return 0.1 * math.Sin(2*math.Pi*p.U/60) },
	} {
		g := probe.GroundOf(z, middle)
		for _, p := range []record.Place{at(172, 117.5), at(227, 117.5), at(62, 117.5), at(8, 117.5), at(227, 172), at(227, 227), at(227, 62), at(227, 8), at(8, 62), at(8, 8), at(8, 172), at(8, 227)} {
			if !g.Holds(p, z(p)) {
				e, within := g.Expect(p)
				t.Errorf("%s: a true touch of %s at %.3f is refused: %.3f +- %.3f", name, p, z(p), e, within)
			}
			g.Add(p, z(p))
			g.Add(p, z(p))
		}
	}
}

// What a touch is held against is all others, never the last one: a probe that goes
// lower by steps is found out before it is off by what an arrival keeps clear.
func TestGroundRefusesLies(t *testing.T) {
	z := func(record.Place) float64 { return 0 }
	g := probe.GroundOf(z, middle, at(172, 117.5), at(62, 117.5), at(117.5, 172))
	for _, c := range []struct {
		p   record.Place
		off float64
	}{{at(117.5, 117.5), 0.26}, {at(117.5, 117.5), -0.26}, {at(120, 120), 0.35}, {at(200, 117.5), -0.5}, {at(227, 172), -0.9}, {at(8, 8), 1.2}} {
		if g.Holds(c.p, c.off) {
			t.Errorf("a touch of %s that is off by %.2f mm is believed", c.p, c.off)
		}
	}
	// One touch that is off by less than shows does not carry the next one.
	g.Add(at(227, 117.5), -0.4)
	if g.Holds(at(240, 117.5), -0.9) {
		t.Error("each touch may be lower than the last")
	}
}

// The first place has the homing alone to be held against, and one touch of it does
// not bind the others.
func TestGroundAtTheFirstPlace(t *testing.T) {
	g := probe.GroundOf(func(record.Place) float64 { return 0 }, middle)
	alone := &probe.Ground{}
	alone.Add(middle, 0.5)
	for off, want := range map[float64]bool{0.5: true, -0.5: true, 0.7: false} {
		if alone.Holds(at(0, 0), off) != want { // the zero place of an empty ground
			t.Errorf("off by %.1f at the zero place: %v", off, !want)
		}
	}
	if g.Holds(middle, 0.9) {
		t.Error("a place that was touched three times is held against the homing alone")
	}
}

// However low the touches lie, the nozzle goes no lower than what the readings by
// themselves allow, and never far below the printer's own limit.
func TestLowest(t *testing.T) {
	one := []probe.At{{Place: middle, Raw: -0.2}}
	for name, c := range map[string]struct {
		at    []probe.At
		p     record.Place
		limit float64
		want  float64
	}{
		"nothing read":           {nil, middle, 0, -0.8},
		"a limit far below":      {one, at(137.5, 117.5), -5, -0.2 - 0.3 - 0.2},
		"by the printer's limit": {one, at(197.5, 117.5), 0, -1.0},
		"two readings":           {append(one, probe.At{Place: at(177.5, 117.5), Raw: -0.2}), at(217.5, 117.5), -5, -0.2 - 0.3 - 0.2},
	} {
		if got := probe.Lowest(c.at, c.p, c.limit); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %.3f, want %.3f", name, got, c.want)
		}
	}
}
