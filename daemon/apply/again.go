package apply

import (
	"math"

	"abbed/analysis"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Again returns the table and the intent that put a correction that was kept onto the
// map as it is now: only where no node has it already, and while the map then differs
// from the one that was first measured by no more than a correction may. t is the table
// that a was made from.
func Again(a store.Applied, t analysis.Table, now [][]int64, c record.Criteria) (analysis.Table, store.Applied, error) {
	if !record.SameSize(now, a.Before) {
		return t, a, fail(nil, store.MapChanged, "measure again", "the bed map has another size than the correction")
	}
	in := a.Correction().In(now)
	switch in.Whole {
	case record.Everywhere:
		return t, a, fail(nil, "not-needed", "nothing to do", "the correction is in force already")
	case record.Partly, record.Unclear:
		return t, a, fail(nil, "map-mixed", "have the printer measure its bed map again, then re-apply",
			"some nodes of the bed map have the correction in them, or may; nothing was written")
	}
	total := record.Plus(record.Plus(now, a.Add, 1), a.Origin, -1)
	if err := bearable(total, t.Area, c, in.Scatter); err != nil {
		return t, a, err
	}
	for k, n := range t.Nodes {
		t.Nodes[k].Before, t.Nodes[k].Add = now[n.J][n.I], a.Add[n.J][n.I]
	}
	if a.Under != nil || a.Parent == "" { // else it was re-applied already, and names the one that was approved
		t.Parent = a.Digest
	}
	t.Digest = t.Sum()
	next := Intent(t, a.Run, a.Person, nil) // neither expired nor proved
	next.Origin = a.Origin
	return t, next, nil
}

// bearable returns why the map would be too far from the one that was first measured;
// total is by how much, um. What two measurements of one bed differ by from node to
// node, three standard deviations of it, is not held against its slope.
func bearable(total [][]int64, area record.Rect, c record.Criteria, scatter float64) error {
	largest, steepest := analysis.Extremes(total, area)
	slack := 3 * math.Sqrt2 * min(scatter/1000, math.Sqrt2*c.Scatter)
	slack /= min(area.W()/float64(len(total[0])-1), area.H()/float64(len(total)-1))
	const half = 0.0005 // um are whole
	const hint = "measure again: the bed, or its tramming, is another than when the correction was made"
	switch {
	case largest > c.Largest+half:
		return fail(nil, "too-large", hint, "the bed map would be up to %.3f mm from the first one, more than %.3f mm", largest, c.Largest)
	case steepest > c.Steepest+slack+half/10:
		return fail(nil, "too-steep", hint, "the bed map would change by %.3f mm per 100 mm, more than %.3f mm", 100*steepest, 100*(c.Steepest+slack))
	}
	return nil
}
