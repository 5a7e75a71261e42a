package picture

import (
	"html/template"
	"slices"

	"gonum.org/v1/gonum/stat"

	"abbed/config/say"
)

// Timeline shows heights of one place over time: T in s since the run's start,
// Z in mm.
type Timeline struct {
	T, Z []float64
	Alt  string
}

// SVG draws the heights from their mean, with a straight line through them.
func (t Timeline) SVG() template.HTML {
	n := min(len(t.T), len(t.Z))
	mid := mean(t.Z[:n])
	minutes, z := make([]float64, n), make([]float64, n)
	for i := range n {
		minutes[i], z[i] = t.T[i]/60, t.Z[i]-mid
	}
	f := frame{x: wide(52, width-10, 1, minutes), y: wide(150, 26, 0.02, z)}
	c := newCanvas(196, t.Alt)
	f.draw(c, "minutes since the run's start", "height from their mean, mm")
	if a, b, ok := straight(minutes, z); ok {
		c.path([]float64{f.x.at(minutes[0]), f.x.at(minutes[n-1])}, []float64{f.y.at(a + b*minutes[0]), f.y.at(a + b*minutes[n-1])}, "main")
	}
	for i := range n {
		c.spot(f.x.at(minutes[i]), f.y.at(z[i]), 3, "dot", say.Signed(z[i], 3)+" mm at "+say.Fixed(minutes[i], 1)+" min")
	}
	return c.done()
}

// straight fits y = a + b x by least squares, for the eye only; their mean where no line is told.
func straight(x, y []float64) (a, b float64, ok bool) {
	if len(x) < 3 || slices.Min(x) == slices.Max(x) {
		return mean(y), 0, false
	}
	a, b = stat.LinearRegression(x, y, nil, false)
	return a, b, true
}
