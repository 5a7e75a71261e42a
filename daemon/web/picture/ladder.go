package picture

import "html/template"

// Ladder shows how high the nozzle stands at a gauging place; all mm in the
// machine's Z.
type Ladder struct {
	Nozzle float64
	// Blade is where the blade is expected to drag, Bed the bed below it.
	Blade, Bed float64
	// Floor is what the nozzle is not lowered below.
	Floor float64
	Alt   string
}

// SVG draws a side view: nozzle above, blade on the bed, the floor below. When
// the nozzle comes near, the view does too.
func (l Ladder) SVG() template.HTML {
	const top, bottom = 40.0, 150.0
	hi := max(l.Nozzle, l.Blade+0.05)
	y := axis{l.Floor, hi, bottom, top}
	if !(hi > l.Floor) {
		y.hi = l.Floor + 1
	}
	c := newCanvas(168, l.Alt)
	c.band([]float64{60, 250}, []float64{y.at(l.Bed), y.at(l.Bed)}, []float64{y.at(l.Blade), y.at(l.Blade)}, "blade")
	c.line(60, y.at(l.Bed), 250, y.at(l.Bed), "main")
	c.line(60, y.at(l.Floor), 250, y.at(l.Floor), "floor")
	n := y.at(l.Nozzle)
	c.path([]float64{125, 135, 147, 163, 175, 185}, []float64{n - 36, n - 16, n, n, n - 16, n - 36}, "nozzle")
	labels := spread([]tag{{n, "nozzle " + fixed(l.Nozzle, 3) + " mm"}, {y.at(l.Blade), "blade drags"}, {y.at(l.Bed), "bed expected"}, {y.at(l.Floor), "floor " + fixed(l.Floor, 3) + " mm"}})
	for _, t := range labels {
		c.text(258, t.y+4, start, "label", t.text)
	}
	return c.done()
}

// tag is a label at a height of the drawing.
type tag struct {
	y    float64
	text string
}

// spread moves labels, from the lowest up, so that none covers another.
func spread(tags []tag) []tag {
	const apart = 15
	for i := len(tags) - 2; i >= 0; i-- {
		tags[i].y = min(tags[i].y, tags[i+1].y-apart)
	}
	return tags
}
