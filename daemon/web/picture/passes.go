package picture

import "html/template"

// Passes shows passes over one row on each other: heights Z[k] at X[k], mm.
type Passes struct {
	X, Z [][]float64
	Alt  string
}

// passClasses tell the passes apart.
var passClasses = []string{"main", "front", "back"}

// SVG draws the passes, heights from the mean of all.
func (p Passes) SVG() template.HTML {
	var all []float64
	for _, z := range p.Z {
		all = append(all, z...)
	}
	mid := 0.0
	if len(all) > 0 {
		mid = mean(all)
	}
	rel := make([][]float64, len(p.Z))
	for k, z := range p.Z {
		for _, v := range z {
			rel[k] = append(rel[k], v-mid)
		}
	}
	f := frame{x: wide(52, width-10, 1, p.X...), y: wide(150, 26, 0.02, rel...)}
	c := newCanvas(206, p.Alt)
	f.draw(c, "along the row, mm", "height from their mean, mm")
	var names []string
	for k := range p.X {
		class := passClasses[k%len(passClasses)]
		c.path(f.x.all(p.X[k]), f.y.all(rel[k]), class)
		names = append(names, class, "pass "+string(rune('1'+k)))
	}
	legend(c, 198, names...)
	return c.done()
}
