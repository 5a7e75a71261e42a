package picture

import (
	"html/template"

	"abbed/config/say"
)

// Course is one quantity in run after run: Value with the half width Half of its
// 95 % interval, Name the moment of the run. Moved marks runs that changed beyond
// the doubt since the one before.
type Course struct {
	Name        []string
	Value, Half []float64
	Moved       []bool
	Quantity    string // with its unit, for the axis
	Alt         string
}

// SVG draws a bar of doubt for each run, with a ring around those that changed;
// the runs stand in their order, evenly, since months may lie between two and
// minutes between the next.
func (s Course) SVG() template.HTML {
	n := min(len(s.Name), len(s.Value), len(s.Half), len(s.Moved))
	lo, hi := make([]float64, n), make([]float64, n)
	for i := range n {
		lo[i], hi[i] = s.Value[i]-s.Half[i], s.Value[i]+s.Half[i]
	}
	f := frame{x: axis{0.4, float64(n) + 0.6, 52, width - 10}, y: wide(196, 26, 0.2, lo, hi, []float64{0})}
	c := newCanvas(240, s.Alt)
	f.heights(c, s.Quantity)
	c.line(f.x.from, f.y.from, f.x.to, f.y.from, "rule")
	every := (n + 2) / 3 // room for three names
	for i := range n {
		x := f.x.at(float64(i + 1))
		c.line(x, f.y.at(lo[i]), x, f.y.at(hi[i]), "mean")
		if s.Moved[i] {
			c.spot(x, f.y.at(s.Value[i]), 8, "mark halo", "")
		}
		c.spot(x, f.y.at(s.Value[i]), 4, "dot", s.Name[i]+": "+say.Fixed(s.Value[i], 2)+" ±"+say.Fixed(s.Half[i], 2))
		if i%max(every, 1) == 0 {
			c.line(x, f.y.from, x, f.y.from+4, "rule")
			c.text(x, f.y.from+17, middle, "tick", s.Name[i])
		}
	}
	c.text(f.x.to, f.y.from+34, end, "label", "run after run; a ring: changed beyond the doubt")
	return c.done()
}
