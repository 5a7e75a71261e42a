package e2e_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// measuredWorld is a house whose printer, a twisted beam, was measured by the played
// person.
type measuredWorld struct {
	*world
	t       *testing.T
	dir     string
	sc      bench.Scenario
	printer *bench.Printer
	run     api.Run
}

// measuredHouse builds a house in a bubble, has the steps done in it and lets then
// look at what came of it. The seeds are those of the printer and of the person's
// hand; change says what else is special about the person.
func measuredHouse(t *testing.T, seed, hand uint64, steps []string, then func(t *testing.T, m *measuredWorld), change ...func(*demo.Person)) {
	t.Helper()
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		m := &measuredWorld{t: t, dir: dir, sc: sc, printer: bench.New(sc, bench.Options{Seed: seed})}
		m.world = open(t, dir, sc, &cable{printer: m.printer})
		defer func() { m.close() }()
		p := &demo.Person{API: m.api, Feel: m.printer.Blade, Rnd: rand.New(rand.NewPCG(hand, 2)), Name: "the played person"}
		for _, c := range change {
			c(p)
		}
		if m.run, err = p.Measure(t.Context(), steps...); err != nil || m.run.State != api.Done {
			t.Fatalf("%s, %v", m.run.State, err)
		}
		then(t, m)
	})
}

// restart ends the house and begins it again over what it has stored.
func (m *measuredWorld) restart() {
	m.t.Helper()
	m.close()
	m.world = open(m.t, m.dir, m.sc, &cable{printer: m.printer})
}

// gaps asks what the run says of the places.
func (m *measuredWorld) gaps(places [][2]float64) []api.Gap {
	m.t.Helper()
	gaps, err := m.api.Gap(m.t.Context(), m.run.ID, places)
	if err != nil {
		m.t.Fatal(err)
	}
	return gaps
}

// doubt is the sum of what the run doubts at the places, mm.
func (m *measuredWorld) doubt(places [][2]float64) (sum float64) {
	m.t.Helper()
	for _, g := range m.gaps(places) {
		if g.U95 != nil {
			sum += *g.U95
		}
	}
	return sum
}

// historyHolds: what the history tells of the run is what its analysis tells now.
func (m *measuredWorld) historyHolds(t *testing.T) {
	t.Helper()
	h, err := m.api.History(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	a, err := m.api.Analysis(t.Context(), m.run.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Runs) != 1 || h.Runs[0].Largest == nil || a.Largest == nil || h.Runs[0].Largest.Value != math.Abs(a.Largest.Value) || h.Runs[0].Largest.U != a.Largest.U {
		t.Errorf("the history tells %+v, the analysis %+v", h.Runs, a.Largest)
	}
}

// sevenBySix are places all over the bed, seven along X in six rows, mm.
func sevenBySix() (places [][2]float64) {
	for j := range 6 {
		for i := range 7 {
			places = append(places, [2]float64{40 + 25*float64(i), 60 + 25*float64(j)})
		}
	}
	return places
}
