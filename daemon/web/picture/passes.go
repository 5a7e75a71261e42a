package picture

import (
	"abbed/config/say"
	"fmt"
	"html/template"
)

// Passes shows passes over one row on each other: heights Z[k] at X[k], mm; each
// pair of the same length.
type Passes struct {
	X, Z [][]float64
	Alt  string
}

// passClasses tell the passes apart.
var passClasses = []string{"main", "front", "back"}

// SVG draws the passes, after one straight line through all of them was taken
// out, so that what differs between them shows, and what returns in each.
func (p Passes) SVG() template.HTML {
	var xs, zs []float64
	for k := range p.X {
		xs, zs = append(xs, p.X[k]...), append(zs, p.Z[k]...)
	}
	a, b, _ := straight(xs, zs)
	rel := make([][]float64, len(p.Z))
	for k, z := range p.Z {
		for i, v := range z {
			rel[k] = append(rel[k], v-a-b*p.X[k][i])
		}
	}
	f := frame{x: wide(52, width-10, 1, p.X...), y: wide(150, 26, 0.02, rel...)}
	c := newCanvas(206, p.Alt)
	f.draw(c, "along the row, mm", "height from a straight line, mm")
	var names []string
	var ax, ay []float64
	var says []string
	for k := range p.X {
		class := passClasses[k%len(passClasses)]
		c.path(f.x.all(p.X[k]), f.y.all(rel[k]), class)
		ax, ay = append(ax, f.x.all(p.X[k])...), append(ay, f.y.all(rel[k])...)
		for i, v := range rel[k] {
			says = append(says, fmt.Sprintf("pass %d: %s mm at X %s", k+1, say.Signed(v, 3), say.Fixed(p.X[k][i], 1)))
		}
		names = append(names, class, "pass "+string(rune('1'+k)))
	}
	c.told(ax, ay, says)
	legend(c, 198, names...)
	return c.done()
}
