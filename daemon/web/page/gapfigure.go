package page

import (
	"fmt"
	"math"
	"slices"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/web/picture"
	"abbed/probe/record"
)

// gridded is how many points along each side the gap is asked at.
const gridded = 25

// gapFigure draws the gap error of a run on the gauged area.
func (p *page) gapFigure(id string, rec record.Run, t *api.Table) []figure {
	bed := bedOf(rec)
	f, ask := gridOn(bed)
	gaps, err := p.desk.Gap(id, ask)
	if err != nil || len(gaps) != len(ask.Points) {
		return nil
	}
	k, doubt := 0, 0.0
	for j := range f.Y {
		for i := range f.X {
			f.Z[j][i] = math.NaN()
			if g := gaps[k]; g.Gap != nil {
				f.Z[j][i] = *g.Gap
				if g.U95 != nil {
					doubt = max(doubt, *g.U95)
				}
			}
			k++
		}
	}
	lo, hi, ok := f.Range()
	if !ok {
		return nil
	}
	b := picture.Bed{Bed: bed, Field: f, Signed: true, Reach: 0.03, Marks: gauged(rec), Unit: "mm", Low: "digs in", High: "too high"}
	b.Alt = fmt.Sprintf("The nozzle is %s, known to %s.", heights(lo, hi), say.PM(doubt))
	return append([]figure{{Title: titleGap, lowest: lo, Says: b.Alt + " Rings are readings. At the cross you set the Z offset.", SVG: b.SVG()}}, remains(b, t, doubt)...)
}

// heights says between which errors the nozzle is.
func heights(lo, hi float64) string {
	switch a, b, right := say.Too(lo), say.Too(hi), say.Too(0); {
	case a == b:
		return a
	case a == right:
		return "up to " + b
	case b == right:
		return "up to " + a
	default:
		return "between " + a + " and " + b
	}
}

// gridOn is an empty field over the bed, and the question for its points.
func gridOn(bed picture.Area) (picture.Field, api.AskGap) {
	var f picture.Field
	for i := range gridded {
		t := float64(i) / (gridded - 1)
		f.X = append(f.X, bed.X0+t*(bed.X1-bed.X0))
		f.Y = append(f.Y, bed.Y0+t*(bed.Y1-bed.Y0))
	}
	var ask api.AskGap
	for _, v := range f.Y {
		f.Z = append(f.Z, make([]float64, gridded))
		for _, u := range f.X {
			ask.Points = append(ask.Points, [2]float64{u, v})
		}
	}
	return f, ask
}

// markedLater marks the places that later runs gauged, where there is no mark yet.
func markedLater(rec record.Run, there []picture.Mark) (out []picture.Mark) {
	for _, j := range rec.Joined {
		for _, g := range j.Gaps {
			has := func(m picture.Mark) bool { return math.Hypot(m.U-g.Place.U, m.V-g.Place.V) < 1 }
			if !slices.ContainsFunc(there, has) && !slices.ContainsFunc(out, has) {
				out = append(out, picture.Mark{U: g.Place.U, V: g.Place.V, Kind: "done", Tip: "gauged later, " + say.At(g.Place.U, g.Place.V)})
			}
		}
	}
	return out
}

// gauged marks the gauged places, each once, and the zero place.
func gauged(rec record.Run) []picture.Mark {
	var out []picture.Mark
	seen := map[int][]float64{}
	at := map[int]record.Place{}
	var order []int
	for _, g := range rec.Gaugings {
		if seen[g.Spot] == nil {
			order = append(order, g.Spot)
		}
		seen[g.Spot] = append(seen[g.Spot], g.Z-g.Blade)
		at[g.Spot] = g.Place
	}
	for _, spot := range order {
		tip := fmt.Sprintf("point %d, %s:", spot+1, say.At(at[spot].U, at[spot].V))
		for _, z := range seen[spot] {
			tip += " " + say.Fine(z)
		}
		out = append(out, picture.Mark{U: at[spot].U, V: at[spot].V, Kind: "done", Tip: tip})
	}
	out = append(out, markedLater(rec, out)...)
	z := rec.Setup.Zero
	return append(out, picture.Mark{U: z.U, V: z.V, Kind: "zero"})
}

// planOf shows the bed with what was gauged and the place in hand.
func planOf(run api.Run, rec record.Run) svg {
	b := picture.Bed{Bed: bedOf(rec), Marks: gauged(rec)}
	if !(b.Bed.X1 > b.Bed.X0) {
		return ""
	}
	s := run.Place
	for i, a := range s.Ahead {
		b.Marks = append(b.Marks, picture.Mark{U: a[0], V: a[1], Kind: "planned", Tip: fmt.Sprintf("still to come, %d: %s", i+1, say.At(a[0], a[1]))})
	}
	b.Marks = append(b.Marks, picture.Mark{U: s.U, V: s.V, Kind: "next"})
	b.Alt = fmt.Sprintf("Plan of the bed, front edge below: point %d in hand at %s. %d readings made, %d points still to come.", s.Index+1, say.At(s.U, s.V), len(rec.Gaugings), len(s.Ahead))
	if len(s.Ahead) > 0 {
		b.Alt += " Next: " + say.At(s.Ahead[0][0], s.Ahead[0][1]) + "."
	}
	return b.SVG()
}

// remains draws what a table would leave of the gap error in before, to the
// same scale, where the table's nodes lie around.
func remains(before picture.Bed, t *api.Table, doubt float64) []figure {
	if t == nil || t.Digest == nil || len(t.Nodes) == 0 {
		return nil
	}
	add := nodesField(*t, func(n api.Node) float64 { return n.Add })
	after := before
	after.Marks, after.Field.Z = nil, nil
	for j, v := range before.Field.Y {
		row := make([]float64, len(before.Field.X))
		for i, u := range before.Field.X {
			row[i] = before.Field.Z[j][i] + add.At(u, v)
		}
		after.Field.Z = append(after.Field.Z, row)
	}
	lo, hi, ok := after.Field.Range()
	if !ok {
		return nil
	}
	wasLo, wasHi, _ := before.Field.Range()
	after.Reach = max(before.Reach, -wasLo, wasHi)
	after.Alt = fmt.Sprintf("With the correction the nozzle should be %s, known to %s.", heights(lo, hi), say.PM(doubt))
	pale := ""
	if max(-lo, hi) < 0.0015 {
		pale = " Pale all over: no error should be left."
	}
	return []figure{{Title: "With the correction", Says: after.Alt + pale + " The colours are the same. Verify it at the feeler gauge.", SVG: after.SVG()}}
}

// beyondSays says how many values a picture's scale leaves out.
func beyondSays(b picture.Bed) string {
	switch n := b.Beyond(); n {
	case 0:
		return ""
	case 1:
		return " One value lies far beyond the others; the colours stop short of it."
	default:
		return fmt.Sprintf(" %d values lie far beyond the others; the colours stop short of them.", n)
	}
}
