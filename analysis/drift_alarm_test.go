package analysis_test

import (
	"math"
	"slices"
	"testing"

	"abbed/analysis"
)

// A steady machine is told in one run of a hundred at most that it drifted
// (binomial: 500 runs may show twelve, a hundred five); a drift that matters is
// still said.
func TestDriftAlarm(t *testing.T) {
	n := max(*seeds, 50)
	said := func(p plan, change func(*machine)) int {
		out := 0
		for seed := range uint64(n) {
			m := good()
			change(&m)
			v := analysis.Judge(simulate(m, p, seed+1))
			if slices.ContainsFunc(v.Findings, func(f analysis.Finding) bool { return f.ID == analysis.DriftFound }) {
				out++
			}
		}
		return out
	}
	most := 0.01*float64(n) + 3*math.Sqrt(0.01*float64(n)) + 1
	for name, p := range map[string]plan{"12": standard(), "20": twenty()} {
		got := said(p, func(*machine) {})
		t.Logf("%s gaugings: drift said of %d of %d steady machines", name, got, n)
		if float64(got) > most {
			t.Errorf("%s gaugings: drift said of %d of %d steady machines", name, got, n)
		}
	}
	// 5 um a minute: 60 um over the survey, whose returns tell a tenth of that.
	got := said(standard(), func(m *machine) { m.drift = func(t float64) float64 { return 0.005 / 60 * t } })
	t.Logf("said of %d of %d that drift by 5 um a minute", got, n)
	if float64(got) < 0.99*float64(n) {
		t.Errorf("said of %d of %d that drift by 5 um a minute", got, n)
	}
}
