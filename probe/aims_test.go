package probe_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"abbed/probe"
	"abbed/probe/record"
)

// TestSizeOfGauging: the plan has as many places along X, and as many rows, as somebody
// set; never so few that a hop would be too wide.
func TestSizeOfGauging(t *testing.T) {
	s := record.Setup{Criteria: record.DefaultCriteria(), Trigger: 3, TriggerKnown: true,
		Reach: record.Rect{X0: 10, Y0: 10, X1: 210, Y1: 210}, Zero: record.Place{U: 110, V: 110}}
	level := func(record.Place) float64 { return 0 }
	for _, c := range []struct{ columns, rows, inRow, all int }{
		{0, 0, 5, 9}, {0, 3, 5, 9}, {7, 3, 7, 11}, {8, 1, 8, 8}, {3, 3, 5, 9}, {5, 1, 5, 5}, {5, 2, 5, 7}, {5, 5, 5, 13},
	} {
		p := probe.DefaultPlan()
		p.GaugeColumns, p.GaugeRows = c.columns, c.rows
		places, _ := probe.Walk(p, s, false, level)
		inRow := 0
		for _, q := range places {
			if math.Abs(q.V-s.Zero.V) < 1 {
				inRow++
			}
		}
		// Steps between places that lie too far apart are not counted as planned.
		if inRow != c.inRow || len(places) < c.all || len(places) > c.all+4 {
			t.Errorf("columns %d, rows %d: %d in the zero place's row of %d, want %d of about %d", c.columns, c.rows, inRow, len(places), c.inRow, c.all)
		}
	}
}

// TestLeanRoute: the lean plan's first places, whatever the printer: five columns
// or more, three rows where the edges are far from the zero place's own, and never a hop
// beyond the longest.
func TestLeanRoute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Float64Range(150, 420).Draw(t, "bed")
		s := record.Setup{Criteria: record.DefaultCriteria(), Trigger: 4, TriggerKnown: true}
		s.Reach = record.Rect{X0: 5, Y0: 5, X1: size - 5, Y1: size - rapid.Float64Range(5, 60).Draw(t, "y")}
		s.Zero = record.Place{
			U: rapid.Float64Range(s.Reach.X0+30, s.Reach.X1-30).Draw(t, "zu"),
			V: rapid.Float64Range(s.Reach.Y0+30, s.Reach.Y1-30).Draw(t, "zv"),
		}
		p := probe.DefaultPlan()
		p.Lean = true
		places, cramped := probe.Walk(p, s, false, func(record.Place) float64 { return 0 })
		columns, rows := map[int]bool{}, map[int]bool{}
		for i, q := range places {
			columns[int(math.Round(q.U))], rows[int(math.Round(q.V))] = true, true
			near := math.Inf(1)
			for _, o := range places[:i] {
				near = min(near, q.Distance(o))
			}
			if i > 0 && near > hopMost(i)+1e-9 || !s.Reach.Has(q) {
				t.Errorf("place %d at %v, %.1f mm from the nearest", i, q, near)
			}
		}
		if len(places) == 0 || places[0] != s.Zero || !cramped && (len(columns) < 5 || len(rows) < 3) {
			t.Errorf("%d columns, %d rows: %v", len(columns), len(rows), places)
		}
	})
}
