package picture

import "abbed/config/say"

import "html/template"

// Profile is the shape of the map from left to right: Effect at X with the
// standard uncertainty U, and the same from the front and the back half; mm.
// Front and Back may be empty.
type Profile struct {
	X, Effect, U, Front, Back []float64
	Alt                       string
}

// SVG draws the profile with its band of doubt (2 u, about 95 %).
func (p Profile) SVG() template.HTML {
	n := min(len(p.X), len(p.Effect), len(p.U))
	x, e := p.X[:n], p.Effect[:n]
	lo, hi := make([]float64, n), make([]float64, n)
	for i := range n {
		lo[i], hi[i] = e[i]-2*p.U[i], e[i]+2*p.U[i]
	}
	f := frame{x: wide(52, width-10, 1, x), y: wide(196, 26, 0.02, lo, hi, p.Front, p.Back)}
	if n > 1 && x[n-1] > x[0] {
		f.x.lo, f.x.hi = x[0], x[n-1]
	}
	c := newCanvas(256, p.Alt)
	f.draw(c, "left to right, mm", "height, mm")
	c.band(f.x.all(x), f.y.all(lo), f.y.all(hi), "doubt")
	p.half(c, f, p.Front, "front")
	p.half(c, f, p.Back, "back")
	c.path(f.x.all(x), f.y.all(e), "main")
	for i := range n {
		c.spot(f.x.at(x[i]), f.y.at(e[i]), 2.4, "dot", say.Signed(e[i], 3)+" mm at x = "+say.Fixed(x[i], 1)+" mm")
	}
	legend(c, 248, "main", "whole bed", "front", "front half", "back", "back half")
	return c.done()
}

func (p Profile) half(c *canvas, f frame, v []float64, class string) {
	if n := min(len(p.X), len(v)); n > 1 {
		c.path(f.x.all(p.X[:n]), f.y.all(v[:n]), class)
	}
}

// legend names lines in a row at height y: class, name, class, name...
func legend(c *canvas, y float64, pairs ...string) {
	x := 52.0
	for i := 0; i+1 < len(pairs); i += 2 {
		c.line(x, y-4, x+18, y-4, pairs[i])
		c.text(x+23, y, start, "label", pairs[i+1])
		x += 38 + 6.2*float64(len(pairs[i+1]))
	}
}
