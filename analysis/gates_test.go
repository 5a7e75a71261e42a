package analysis_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"abbed/analysis"
	"abbed/analysis/steady"
)

// gateCase is a machine whose gates are to be judged over many seeds.
type gateCase struct {
	name  string
	want  string  // the finding of the first failed gate, "" for none
	least float64 // share of seeds that must answer so
	m     machine
}

func gateCases() []gateCase {
	with := func(change func(*machine)) machine {
		m := good()
		change(&m)
		return m
	}
	return []gateCase{
		{"good", "", 0.995, good()},
		{"poor but passable probe", "", 0.95, with(func(m *machine) { m.scatter = 0.011 })},
		{"coarse reports", "", 0.995, with(func(m *machine) { m.step, m.scatter = 0.01, 0.002 })},
		{"steady drift", "", 0.99, with(func(m *machine) { m.drift = func(t float64) float64 { return 5e-5 * t } })},
		{"settling drift", "", 0.96, with(func(m *machine) { m.drift = func(t float64) float64 { return 0.1 * (1 - math.Exp(-t/600)) } })},
		{"constants between passes", "", 0.99, with(func(m *machine) {
			m.carriage = func(pass int, u float64) float64 { return []float64{0, 0.05, -0.03}[pass] }
		})},
		{"a ripple that stays", "", 0.995, with(func(m *machine) {
			m.carriage = func(_ int, u float64) float64 { return 0.03 * math.Sin(u/8) }
		})},
		{"small play", "", 0.99, with(func(m *machine) { m.play = [2]float64{0.008, 0} })},
		{"outliers", "", 0.94, with(func(m *machine) { m.outlier = 0.02 })},
		{"rough probe", analysis.ProbeNotRepeatable, 0.99, with(func(m *machine) { m.scatter = 0.03 })},
		{"rather rough probe", analysis.ProbeNotRepeatable, 0.97, with(func(m *machine) { m.scatter = 0.02 })},
		{"fast drift", analysis.DriftFound, 0.97, with(func(m *machine) { m.drift = func(t float64) float64 { return 4e-4 * t } })},
		{"swinging drift", analysis.DriftFound, 0.95, with(func(m *machine) {
			m.drift = func(t float64) float64 {
				w := 2 * math.Pi * t / 90
				return 0.06 * (math.Sin(w) + 0.5*math.Sin(w*math.Phi+1))
			}
		})},
		{"play along X", analysis.LooseCarriage, 0.995, with(func(m *machine) { m.play = [2]float64{0.04, 0} })},
		{"play along Y", analysis.LooseCarriage, 0.995, with(func(m *machine) { m.play = [2]float64{0, -0.04} })},
	}
}

// drawn are machines whose fault is drawn anew for each seed.
func drawn(seed uint64) map[string]gateCase {
	r := rand.New(rand.NewPCG(seed, 99))
	flats := good()
	var phase [3]float64
	for i := range phase {
		phase[i] = 9 * r.NormFloat64()
	}
	flats.carriage = func(pass int, u float64) float64 {
		d := math.Remainder(u-30-phase[pass], 66)
		return -0.08 * math.Exp(-d*d/(2*2.5*2.5))
	}
	wander := good()
	var w [3][3]float64
	for i := range w {
		for j := range w[i] {
			w[i][j] = 0.025 * r.NormFloat64()
		}
	}
	wander.carriage = func(pass int, u float64) float64 {
		t := (u - 117.5) / 60
		return w[pass][0] + w[pass][1]*t + w[pass][2]*math.Sin(2*t)
	}
	return map[string]gateCase{
		"flats that slip":  {want: analysis.WornWheels, least: 0.95, m: flats},
		"wandering passes": {want: analysis.WornWheels, least: 0.90, m: wander},
	}
}

func firstGate(m machine, seed uint64) string {
	p := standard()
	p.places, p.survey = nil, false
	f, failed := steady.Steady(simulate(m, p, seed)).Failed()
	if !failed {
		return ""
	}
	return f.ID
}

// TestGates asks how often each machine gets the right gate; truth is known,
// since the machine is simulated by the formulas of design/2.
func TestGates(t *testing.T) {
	n := max(*seeds*10, 30)
	for _, c := range gateCases() {
		got := map[string]int{}
		for seed := range n {
			got[firstGate(c.m, uint64(seed)+1)]++
		}
		judgeGate(t, c.name, c, got, n)
	}
	got := map[string]map[string]int{}
	for seed := range n {
		for name, c := range drawn(uint64(seed)) {
			if got[name] == nil {
				got[name] = map[string]int{}
			}
			got[name][firstGate(c.m, uint64(seed)+1)]++
		}
	}
	for name, c := range drawn(0) {
		judgeGate(t, name, c, got[name], n)
	}
}

func judgeGate(t *testing.T, name string, c gateCase, got map[string]int, n int) {
	t.Helper()
	t.Logf("%-28s want %-22q got %v of %d", name, c.want, got, n)
	// With few seeds one miss more is allowed than the share says.
	if miss := n - got[c.want]; float64(miss) > (1-c.least)*float64(n)+1 {
		t.Errorf("%s: want %q, got %v of %d", name, c.want, got, n)
	}
}
