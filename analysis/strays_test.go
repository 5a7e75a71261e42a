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
