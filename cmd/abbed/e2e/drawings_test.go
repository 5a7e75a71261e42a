package e2e_test

import (
	"fmt"
	"html/template"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/config/say"
	"abbed/daemon/web/picture"
	"abbed/probe/record"
)

// drawings are those of the documents, as the program draws them on the page.
func drawings(t *testing.T, run record.Run) map[string]string {
	t.Helper()
	g := analysis.Judge(run).Gap
	s := run.Setup
	const n = 25
	f, at := picture.Field{}, func(i int, lo, hi float64) float64 { return lo + float64(i)/(n-1)*(hi-lo) }
	for i := range n {
		f.X, f.Y = append(f.X, at(i, s.Bed.X0, s.Bed.X1)), append(f.Y, at(i, s.Bed.Y0, s.Bed.Y1))
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range f.Y {
		var row []float64
		for _, u := range f.X {
			z, _, why := g.At(record.Place{U: u, V: v})
			if why != nil {
				z = math.NaN()
			} else {
				lo, hi = min(lo, z), max(hi, z)
			}
			row = append(row, z)
		}
		f.Z = append(f.Z, row)
	}
	b := picture.Bed{Bed: picture.Area{X0: s.Bed.X0, Y0: s.Bed.Y0, X1: s.Bed.X1, Y1: s.Bed.Y1}, Field: f, Signed: true, Unit: "mm", Low: "digs in", High: "too high",
		Marks: []picture.Mark{{U: s.Zero.U, V: s.Zero.V, Kind: "zero"}}, Alt: fmt.Sprintf("Nozzle error from %s to %s mm over the bed.", say.Signed(lo, 2), say.Signed(hi, 2))}
	seen := map[record.Place]bool{}
	for _, r := range run.Gaugings {
		if !seen[r.Place] {
			seen[r.Place] = true
			b.Marks = append(b.Marks, picture.Mark{U: r.Place.U, V: r.Place.V, Kind: "done"})
		}
	}
	tilt := picture.Tilt{Lever: s.Lever.Y, Alt: "At each place the probe touches the bed just the same, and the nozzle is at another height."}
	for i, name := range []string{"left", "middle", "right"} {
		z, _, _ := g.At(record.Place{U: []float64{8, s.Zero.U, 227}[i], V: s.Zero.V})
		tilt.Heads = append(tilt.Heads, picture.Head{Name: name, Gap: z})
	}
	return map[string]string{"nozzle-error.svg": alone(t, b.SVG()), "tilt.svg": alone(t, tilt.SVG())}
}

// alone makes a drawing a file of its own, with the page's styles for drawings.
func alone(t *testing.T, svg template.HTML) string {
	t.Helper()
	css, err := os.ReadFile("../../..//daemon/web/page/static/abbed.css")
	if err != nil {
		t.Fatal(err)
	}
	style := regexp.MustCompile(`(?s):root \{.*?\}`).FindString(string(css)) + "\n"
	for _, rule := range regexp.MustCompile(`(?m)^\.picture[^\n]*\}$`).FindAllString(string(css), -1) {
		style += rule + "\n"
	}
	text := strings.Replace(string(svg), "<svg ", `<svg xmlns="http://www.w3.org/2000/svg" width="480" font-family="sans-serif" style="background:#fff" `, 1)
	at := strings.IndexByte(text, '>') + 1
	return text[:at] + "<style>" + style + "</style>\n" + strings.ReplaceAll(text[at:], "><", ">\n<") + "\n"
}
