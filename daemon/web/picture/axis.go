package picture

import (
	"math"

	"abbed/config/say"
)

// axis maps values lo..hi to the drawing's from..to.
type axis struct{ lo, hi, from, to float64 }

// at returns where v lies.
func (a axis) at(v float64) float64 { return a.from + (v-a.lo)/(a.hi-a.lo)*(a.to-a.from) }

func (a axis) all(vs []float64) []float64 {
	out := make([]float64, len(vs))
	for i, v := range vs {
		out[i] = a.at(v)
	}
	return out
}

// wide returns an axis over all finite values with a little room around, and at
// least least wide.
func wide(from, to, least float64, sets ...[]float64) axis {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, set := range sets {
		for _, v := range set {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
	}
	if lo > hi {
		lo, hi = 0, 0
	}
	room := max((least-(hi-lo))/2, 0.06*(hi-lo))
	return axis{lo - room, hi + room, from, to}
}

// ticks returns about n round values within the axis, and how many decimals
// they need.
func (a axis) ticks(n int) ([]float64, int) {
	span := a.hi - a.lo
	if !(span > 0) || n < 1 {
		return nil, 0
	}
	step := math.Pow(10, math.Floor(math.Log10(span/float64(n))))
	for _, f := range []float64{1, 2, 5, 10} {
		if span/(step*f) <= float64(n) {
			step *= f
			break
		}
	}
	decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	var out []float64
	for k := math.Ceil(a.lo/step - 1e-9); k*step <= a.hi+1e-9*span; k++ {
		out = append(out, k*step)
	}
	return out, decimals
}

// frame is the box of a diagram with its two axes.
type frame struct{ x, y axis }

// heights draws gridlines with their numbers, and the name of their axis.
func (f frame) heights(c *canvas, name string) {
	ys, decimals := f.y.ticks(5)
	for _, v := range ys {
		c.line(f.x.from, f.y.at(v), f.x.to, f.y.at(v), "grid")
		c.text(f.x.from-5, f.y.at(v)+4, end, "tick", say.Fixed(v, decimals))
	}
	c.text(f.x.from, f.y.to-8, start, "label", name)
}

// draw draws gridlines, their numbers and the names of both axes.
func (f frame) draw(c *canvas, xName, yName string) {
	f.heights(c, yName)
	left, right, bottom := f.x.from, f.x.to, f.y.from
	xs, decimals := f.x.ticks(6)
	for _, v := range xs {
		c.line(f.x.at(v), bottom, f.x.at(v), bottom+4, "rule")
		c.text(f.x.at(v), bottom+17, middle, "tick", say.Fixed(v, decimals))
	}
	c.line(left, bottom, right, bottom, "rule")
	c.text(right, bottom+32, end, "label", xName)
}
