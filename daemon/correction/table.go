package correction

import (
	"math"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// Table turns a table or its refusal into the API's words.
func Table(run record.Run, t analysis.Table, refused *record.Problem) api.Table {
	out := api.Table{Run: run.ID, Nodes: []api.Node{}, Cautions: []api.Caution{}, Refused: refused}
	if refused != nil {
		return out
	}
	digest := t.Digest
	out.Digest, out.Cautions = &digest, tableCautions(t, nil)
	for _, n := range t.Nodes {
		out.Nodes = append(out.Nodes, api.Node{
			I: n.I, J: n.J, U: n.Place.U, V: n.Place.V,
			Before: float64(n.Before) / 1000, Add: float64(n.Add) / 1000, U95: float64(n.U95) / 1000, Doubtful: n.Doubtful,
		})
	}
	out.Largest, out.Steepest, out.LargestU95 = t.Largest, 100*t.Steepest, t.LargestU95
	out.Printer, out.Parent = t.Printer, t.Parent
	out.Lever, out.Area = &api.XY{X: t.Lever.X, Y: t.Lever.Y}, &t.Area
	if !run.Began.IsZero() {
		out.Made = &run.Began
	}
	c := run.Setup.Criteria
	out.Limits = &api.Limits{Largest: c.Largest, Steepest: 100 * c.Steepest, DoubtShare: c.DoubtShare}
	return out
}

// Tabled turns the API's words back into the table that they tell, so that its
// digest can be worked out anew. What the words lack is left zero.
func Tabled(t api.Table) analysis.Table {
	out := analysis.Table{Printer: t.Printer, Parent: t.Parent}
	if t.Lever != nil {
		out.Lever = record.Lever{X: t.Lever.X, Y: t.Lever.Y}
	}
	if a := t.Area; a != nil {
		out.Area = *a
	}
	um := func(v float64) int64 { return int64(math.Round(1000 * v)) }
	for _, n := range t.Nodes {
		out.Columns, out.Rows = max(out.Columns, n.I+1), max(out.Rows, n.J+1)
		out.Nodes = append(out.Nodes, analysis.Node{I: n.I, J: n.J, Place: record.Place{U: n.U, V: n.V}, Before: um(n.Before), Add: um(n.Add), U95: um(n.U95)})
	}
	return out
}
