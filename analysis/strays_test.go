package analysis_test

import (
	"math"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// Stray touches of the passes, of the repeat test and of the survey are listed,
// and no others. On a flat bed a touch that is off by 0.25 mm is known by its
// height; truth is the simulation's.
func TestStraysListed(t *testing.T) {
	planted, listed, others := 0, 0, 0
	for seed := range uint64(max(*seeds*2, 10)) {
		m := good()
		m.outlier = 0.02
		run := simulate(m, twenty(), seed+1)
		v := analysis.Judge(run)
		named := map[int64]bool{}
		for _, list := range [][]analysis.Odd{v.Stability.Strays, v.Stability.Outliers, v.Profile.Outliers} {
			for _, o := range list {
				named[o.N] = true
			}
		}
		first := true
		for _, at := range run.Touches {
			if at.Series == record.SeriesPair {
				continue // four touches a record: the middle of them counts
			}
			stray := math.Abs(at.Z) > 0.2
			switch {
			case first && at.Series == record.SeriesRepeat: // the first touch has a line of its own
				first = false
			case stray && named[at.N]:
				planted, listed = planted+1, listed+1
			case stray:
				planted++
			case named[at.N]:
				others++
			}
		}
	}
	t.Logf("%d of %d stray touches listed, and %d others", listed, planted, others)
	if planted == 0 || float64(listed) < 0.95*float64(planted) || 100*others > planted {
		t.Errorf("%d of %d stray touches listed, and %d others", listed, planted, others)
	}
}

// A sound machine whose heights settle and whose probe strays once in a hundred touches
// gets an answer from forty-one readings: strays are set aside, and no suspicion of the
// carriage, nor one of the readings, is left.
func TestStraysWhileSettling(t *testing.T) {
	n, got := max(*seeds, 20), map[string]int{}
	p := twenty()
	p.places = append(times(2, p.places), p.zero)
	for seed := range uint64(n) {
		m := good()
		m.outlier = 0.01
		m.drift = func(t float64) float64 { return 0.1 * (1 - math.Exp(-t/600)) }
		v := analysis.Judge(simulate(m, p, seed+1))
		got[v.Findings[0].ID]++
	}
	t.Logf("%v of %d", got, n)
	if got[analysis.Healthy] < n*19/20 {
		t.Errorf("%v of %d", got, n)
	}
}
