package e2e_test

import (
	"math"
	"testing"

	"abbed/cmd/abbed/ask"
)

// TestFiveMinutes: the gauging alone, a few places along X, gives the wedge with
// its doubt, the level, and no table, since the stored map could not be checked.
func TestFiveMinutes(t *testing.T) {
	measuredHouse(t, 8, 8, []string{"gauging"}, func(t *testing.T, m *measuredWorld) {
		run := m.run
		if run.Gaugings < 3 || run.Gaugings > 6 {
			t.Errorf("%d records: three to five places are meant", run.Gaugings)
		}
		o := &ask.Outcome{Run: run}
		if err := o.Read(t.Context(), m.api); err != nil {
			t.Fatal(err)
		}
		for _, f := range o.Analysis.Findings {
			t.Logf("%s: %s | %s | %s | %s", f.ID, f.Sentence, f.Evidence, f.Doubt, f.Next)
		}
		if o.Table.Refused == nil {
			t.Error("a table was offered, though the stored map was not checked")
		} else {
			t.Logf("table: %s: %s", o.Table.Refused.Code, o.Table.Refused.Text)
		}
		truth := m.printer.Truth()
		points := [][2]float64{{40, truth.Zero[1]}, {190, truth.Zero[1]}, {117.5, 20}}
		gaps := m.gaps(points)
		for i, g := range gaps[:2] {
			want := truth.Gap(points[i][0], points[i][1])
			if g.Gap == nil || math.Abs(*g.Gap-want) > 1.5**g.U95 {
				t.Errorf("gap at %v: %+v, truly %.3f", points[i], g, want)
				continue
			}
			t.Logf("gap at %v: %.3f ±%.3f, truly %.3f", points[i], *g.Gap, *g.U95, want)
		}
		if gaps[2].Gap != nil || gaps[2].Reason == "" {
			t.Errorf("a gap far in front of the only row: %+v", gaps[2])
		}
		if l := o.Analysis.Level; l == nil || math.Abs(l.Value-truth.Level) > 0.05 {
			t.Errorf("level %+v, truly %.3f", l, truth.Level)
		}
	})
}
