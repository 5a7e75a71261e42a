package picture

import (
	"html/template"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"abbed/config/say"
)

// Series are values under one name.
type Series struct {
	Name string
	Z    []float64
}

// Dots shows repeated values side by side, one column for each series: each
// touch a dot, the mean a bar; mm.
type Dots struct {
	Series []Series
	Alt    string
}

// SVG draws the dots. Heights are shown from the mean of all.
func (d Dots) SVG() template.HTML {
	var all []float64
	for _, s := range d.Series {
		all = append(all, s.Z...)
	}
	mid := mean(all)
	rel := func(vs []float64) []float64 {
		out := slices.Clone(vs)
		floats.AddConst(-mid, out)
		return out
	}
	f := frame{x: axis{0, max(float64(len(d.Series)), 1), 52, width - 10}, y: wide(170, 26, 0.02, rel(all))}
	c := newCanvas(196, d.Alt)
	f.heights(c, "height from their mean, mm")
	for k, s := range d.Series {
		d.column(c, f, float64(k)+0.5, s.Name, rel(s.Z))
	}
	return c.done()
}

// column draws one series; dots are set beside each other in the order in which
// they were made, so that a trend shows.
func (d Dots) column(c *canvas, f frame, at float64, name string, z []float64) {
	for i, v := range z {
		shift := 0.0
		if len(z) > 1 {
			shift = 0.56 * (float64(i)/float64(len(z)-1) - 0.5)
		}
		c.spot(f.x.at(at+shift), f.y.at(v), 3.2, "dot", say.Signed(v, 3)+" mm")
	}
	if len(z) > 0 {
		m := mean(z)
		c.line(f.x.at(at-0.36), f.y.at(m), f.x.at(at+0.36), f.y.at(m), "mean")
	}
	c.text(f.x.at(at), 188, middle, "label", name)
}

// mean returns the mean, 0 of none.
func mean(vs []float64) float64 {
	if len(vs) == 0 {
		return 0
	}
	return stat.Mean(vs, nil)
}
