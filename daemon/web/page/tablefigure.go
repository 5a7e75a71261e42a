package page

import (
	"fmt"
	"math"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/web/picture"
	"abbed/probe/record"
)

// tableFigure draws what a table adds.
func tableFigure(t api.Table, rec record.Run) []figure {
	if len(t.Nodes) == 0 {
		return nil
	}
	var pts []picture.Point
	b := picture.Bed{Bed: bedOf(rec), Signed: true, Reach: 0.03, Unit: "mm", Low: "lowers the nozzle", High: "raises the nozzle"}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, n := range t.Nodes {
		pts = append(pts, picture.Point{U: n.U, V: n.V, Z: n.Add})
		lo, hi = min(lo, n.Add), max(hi, n.Add)
		b.Marks = append(b.Marks, picture.Mark{U: n.U, V: n.V, Tip: fmt.Sprintf("node %d, %d: add %s %s", n.I, n.J, say.Signed(n.Add, 3)+" mm", say.PM(n.U95))})
	}
	if !(b.Bed.X1 > b.Bed.X0) {
		b.Bed = picture.Area{X0: t.Nodes[0].U, Y0: t.Nodes[0].V, X1: t.Nodes[len(t.Nodes)-1].U, Y1: t.Nodes[len(t.Nodes)-1].V}
	}
	b.Field = picture.Gather(pts)
	b.Alt = fmt.Sprintf("Additions to the stored map, from %s to %s at %d nodes.", mm(lo), mm(hi), len(t.Nodes))
	return append([]figure{{Title: "What would be added", Says: b.Alt, SVG: b.SVG()}}, mapFigures(t, b.Bed)...)
}

// mapFigures draw the stored map before and after a table, to one scale.
func mapFigures(t api.Table, bed picture.Area) []figure {
	one := func(title, what string, z func(api.Node) float64) (figure, picture.Bed) {
		b := picture.Bed{Bed: bed, Unit: "mm", Low: "low", High: "high"}
		var pts []picture.Point
		for _, n := range t.Nodes {
			pts = append(pts, picture.Point{U: n.U, V: n.V, Z: z(n)})
			b.Marks = append(b.Marks, picture.Mark{U: n.U, V: n.V, Tip: fmt.Sprintf("node %d, %d: %s", n.I, n.J, fine(z(n)))})
		}
		b.Field = picture.Gather(pts)
		lo, hi, _ := b.Field.Range()
		b.Ends = [2]float64{lo, hi}
		b.Alt = fmt.Sprintf("%s: heights from %s to %s.", what, mm(lo), mm(hi))
		return figure{Title: title, Says: b.Alt}, b
	}
	was, before := one("The stored map before", "The map that the printer has now", func(n api.Node) float64 { return n.Before })
	will, after := one("The stored map after", "The map as it would be written, in the same colours", func(n api.Node) float64 { return n.Before + n.Add })
	ends := [2]float64{min(before.Ends[0], after.Ends[0]), max(before.Ends[1], after.Ends[1])}
	before.Ends, after.Ends = ends, ends
	was.SVG, will.SVG = before.SVG(), after.SVG()
	return []figure{was, will}
}
