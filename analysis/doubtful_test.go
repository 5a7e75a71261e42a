package analysis_test

import (
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// TestWrongAtOnePlace: a probe that reads 0.15 mm too low over 25 mm (a hole, a magnet; from
// the project's rule 5) neither bends the result nor stays unsaid: the reading is named, a
// point beside it is asked for until there is one, and the node of the bed map there is
// doubtful. A machine whose readings all fit has none.
func TestWrongAtOnePlace(t *testing.T) {
	wrong := record.Place{U: 20, V: 50}
	named, asked, nodes, clean, off := 0, 0, 0, 0, 0
	const n = 20
	for seed := range uint64(n) {
		m := good()
		m.gap = shaped(func(x, y float64) float64 { return 0.1 * x })
		if v := analysis.Judge(simulate(m, twenty(), seed+1)); v.Gap != nil {
			for _, r := range v.Model.Residuals {
				if r.Doubted {
					clean++
					break
				}
			}
		}
		m.local = func(p record.Place) float64 {
			if p.Distance(wrong) < 12.5 {
				return -0.15
			}
			return 0
		}
		run := simulate(m, twenty(), seed+1)
		v := analysis.Judge(run)
		if v.Gap == nil {
			continue
		}
		is := false
		for _, r := range v.Model.Residuals {
			is = is || r.Doubted && r.Place.Distance(wrong) < 1
		}
		if is {
			named++
		}
		if g, u, _ := v.Gap.At(record.Place{U: 30, V: 60}); g-m.trueGap(record.Place{U: 30, V: 60}, run.Setup.Zero) > 2*u || m.trueGap(record.Place{U: 30, V: 60}, run.Setup.Zero)-g > 2*u {
			off++
		}
		if a := analysis.Advise(run, append(grid(twenty().reach, 9, 5), run.Setup.Zero), analysis.TargetU95); is && a.Found && a.Place.Distance(wrong) >= 12.5 && a.Place.Distance(wrong) <= 40 {
			asked++
		}
		if table, r := v.Table(run); r == nil {
			for _, node := range table.Nodes {
				if node.Doubtful && node.Place.Distance(wrong) <= 25 {
					nodes++
				}
			}
		}
	}
	t.Logf("of %d: named %d, asked beside %d, node said %d; far off beside %d; named on a good machine %d", n, named, asked, nodes, off, clean)
	if named < n*8/10 || asked < named*9/10 || nodes == 0 || off > n/10 || clean > n/4 {
		t.Error("a place where the probe is wrong has to be named, with a point beside it and its node")
	}
}
