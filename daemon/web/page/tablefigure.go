package page

import (
	"fmt"
	"math"
	"strings"

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
	b := picture.Bed{Bed: bedOf(rec), Signed: true, Reach: 0.03, Unit: "mm", Low: "lowers the nozzle", High: "raises the nozzle"}
	for _, n := range t.Nodes {
		b.Marks = append(b.Marks, picture.Mark{U: n.U, V: n.V, Tip: fmt.Sprintf("column %d, row %d: add %s mm %s", n.I, n.J, say.Signed(n.Add, 3), say.PM(n.U95))})
	}
	if !(b.Bed.X1 > b.Bed.X0) {
		b.Bed = picture.Area{X0: t.Nodes[0].U, Y0: t.Nodes[0].V, X1: t.Nodes[len(t.Nodes)-1].U, Y1: t.Nodes[len(t.Nodes)-1].V}
	}
	b.Field = nodesField(t, func(n api.Node) float64 { return n.Add })
	lo, hi, _ := b.Field.Range()
	b.Alt = fmt.Sprintf("The correction adds %s to %s.", mm(lo), mm(hi))
	return append([]figure{{Title: "The correction", Says: b.Alt, SVG: b.SVG()}}, mapFigures(t, b.Bed)...)
}

// nodesField is a value of each node, as a field.
func nodesField(t api.Table, z func(api.Node) float64) picture.Field {
	var pts []picture.Point
	for _, n := range t.Nodes {
		pts = append(pts, picture.Point{U: n.U, V: n.V, Z: z(n)})
	}
	return picture.Gather(pts)
}

// mapFigures draw the stored map before and after a table, to one scale.
func mapFigures(t api.Table, bed picture.Area) []figure {
	one := func(title, what string, z func(api.Node) float64) (figure, picture.Bed) {
		b := picture.Bed{Bed: bed, Field: nodesField(t, z), Unit: "mm", Low: "low", High: "high"}
		for _, n := range t.Nodes {
			b.Marks = append(b.Marks, picture.Mark{U: n.U, V: n.V, Tip: fmt.Sprintf("column %d, row %d: %s", n.I, n.J, fine(z(n)))})
		}
		lo, hi, _ := b.Field.Range()
		b.Ends = [2]float64{lo, hi}
		b.Alt = fmt.Sprintf("%s goes from %s to %s.", what, mm(lo), mm(hi))
		return figure{Title: title, Says: b.Alt}, b
	}
	was, before := one("The bed map now", "Now the bed map", func(n api.Node) float64 { return n.Before })
	will, after := one("The bed map with the correction", "With the correction the bed map", func(n api.Node) float64 { return n.Before + n.Add })
	ends := [2]float64{min(before.Ends[0], after.Ends[0]), max(before.Ends[1], after.Ends[1])}
	before.Ends, after.Ends = ends, ends
	was.SVG, will.SVG = before.SVG(), after.SVG()
	return []figure{was, will}
}

// goes says what a correction does to the nozzle, and where most.
func goes(t api.Table) string {
	var down, up float64
	for _, n := range t.Nodes {
		down, up = min(down, n.Add), max(up, n.Add)
	}
	var parts []string
	for _, end := range []float64{down, up} {
		if moves := say.Goes(end); math.Abs(end) >= 0.005 {
			parts = append(parts, moves+" "+side(t.Nodes, end))
		}
	}
	if len(parts) == 0 {
		return "The nozzle stays where it was."
	}
	return tight("The nozzle goes " + strings.Join(parts, " and ") + ".")
}

// side says where a correction is nearly as large as at its end.
func side(nodes []api.Node, end float64) string {
	lo := [2]float64{math.Inf(1), math.Inf(1)}
	hi := [2]float64{math.Inf(-1), math.Inf(-1)}
	near, far := hi, lo
	for _, n := range nodes {
		for k, v := range [2]float64{n.U, n.V} {
			lo[k], hi[k] = min(lo[k], v), max(hi[k], v)
			if n.Add/end > 0.85 {
				near[k], far[k] = max(near[k], v), min(far[k], v)
			}
		}
	}
	names := [2][2]string{{"left", "right"}, {"front", "back"}}
	var at []string
	for _, k := range []int{1, 0} {
		switch middle := (lo[k] + hi[k]) / 2; {
		case near[k] < middle:
			at = append(at, names[k][0])
		case far[k] > middle:
			at = append(at, names[k][1])
		}
	}
	if len(at) == 0 {
		return "in the middle"
	}
	return "at the " + strings.Join(at, " ")
}
