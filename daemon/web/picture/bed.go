package picture

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"abbed/config/say"
	"abbed/probe/record"
)

// Area is an upright rectangle of the bed, mm.
type Area = record.Rect

// Mark is a place on the bed. Kind is done, next, planned or zero.
type Mark struct {
	U, V  float64
	Kind  string
	Label string
	Tip   string
}

// Bed is a view of the bed from above, front edge below: a field in colours, or
// just a plan with marks.
type Bed struct {
	Bed   Area
	Field Field
	// Signed: the values are signed, and 0 is pale; else they are heights.
	Signed bool
	// Ends of the colours, so that two pictures have the same; both 0: those of
	// the field.
	Ends [2]float64
	// Reach is the least range of a signed picture to either side of 0, mm.
	Reach float64
	Marks []Mark
	// Unit stands beside the scale; Low and High explain its ends.
	Unit, Low, High string
	Alt             string
}

// sheet is where the bed lies on the drawing, and where it ends below.
func (b Bed) sheet(top float64) (frame, float64) {
	w, h := b.Bed.X1-b.Bed.X0, b.Bed.Y1-b.Bed.Y0
	k := math.Min((width-70)/w, 300/h)
	left := 45 + (width-70-k*w)/2
	return frame{x: axis{b.Bed.X0, b.Bed.X1, left, left + k*w}, y: axis{b.Bed.Y0, b.Bed.Y1, top + k*h, top}}, top + k*h
}

// SVG draws the bed.
func (b Bed) SVG() template.HTML {
	if !b.Bed.Valid() {
		b.Bed = Area{X1: 1, Y1: 1} // a bed that is not known is drawn empty
	}
	s, bottom := b.sheet(14)
	lo, hi, ok := b.Field.Scale()
	tall := bottom + 36
	if ok {
		tall += 52
	}
	c := newCanvas(tall, b.Alt)
	c.rect(s.x.from, s.y.to, s.x.to-s.x.from, s.y.from-s.y.to, "bed")
	if ok {
		if b.Ends[0] < b.Ends[1] {
			lo, hi = b.Ends[0], b.Ends[1]
		}
		pal := heights()
		if b.Signed {
			reach := max(b.Reach, math.Abs(lo), math.Abs(hi))
			lo, hi, pal = -reach, reach, signs()
		} else if hi-lo < 1e-4 {
			lo, hi = lo-5e-5, hi+5e-5
		}
		b.colours(c, s, lo, hi, pal)
		b.scale(c, tall-40, lo, hi, pal)
		b.values(c, s)
	}
	b.edges(c, s)
	for _, m := range b.Marks {
		b.mark(c, s, m)
	}
	return c.done()
}

// cells is how many cells wide the coloured bed is drawn.
const cells = 60

// colours draws one shape for each band: runs of equal cells, edge to edge.
func (b Bed) colours(c *canvas, s frame, lo, hi float64, pal shades) {
	size := (s.x.to - s.x.from) / cells
	rows := int(math.Ceil((s.y.from - s.y.to) / size))
	var shapes [bands]strings.Builder
	for j := range rows {
		y := s.y.to + float64(j)*size
		v := b.Bed.Y1 - (float64(j)+0.5)*size/(s.y.from-s.y.to)*(b.Bed.Y1-b.Bed.Y0)
		run, from := -1, 0
		for i := 0; i <= cells; i++ {
			now := -1
			if i < cells {
				now = bandOf(b.Field.At(b.Bed.X0+(float64(i)+0.5)/cells*(b.Bed.X1-b.Bed.X0), v), lo, hi)
			}
			if now == run {
				continue
			}
			if run >= 0 {
				w := num(float64(i-from) * size)
				fmt.Fprintf(&shapes[run], "M%s %sh%sv%sh-%sz", num(s.x.from+float64(from)*size), num(y), w, num(size+0.3), w)
			}
			run, from = now, i
		}
	}
	for k := range shapes {
		if shapes[k].Len() > 0 {
			fmt.Fprintf(&c.b, `<path shape-rendering="crispEdges" fill="%s" d="%s"/>`, pal[k], shapes[k].String())
		}
	}
}

// values leaves the field's values with the drawing, for a finger on it: the
// four ends of each axis, the places, and the values in um; "_" is none.
func (b Bed) values(c *canvas, s frame) {
	var z strings.Builder
	for _, row := range b.Field.Z {
		for _, v := range row {
			switch {
			case math.IsNaN(v):
				z.WriteString("_ ")
			default:
				z.WriteString(strconv.FormatFloat(math.Round(1000*v), 'f', -1, 64) + " ")
			}
		}
	}
	ends := func(a axis) string { return row([]float64{a.lo, a.hi, a.from, a.to}) }
	fmt.Fprintf(&c.b, `<g class="values" data-u="%s" data-v="%s" data-x="%s" data-y="%s" data-z="%s"`, ends(s.x), ends(s.y), row(b.Field.X), row(b.Field.Y), strings.TrimSpace(z.String()))
	if b.Signed {
		c.b.WriteString(` data-signed="yes"`)
	}
	c.b.WriteString("></g>")
}

// row writes numbers with a space between them.
func row(vs []float64) string {
	out := make([]string, len(vs))
	for i, v := range vs {
		out[i] = num(v)
	}
	return strings.Join(out, " ")
}

// scale draws the colours with their values below the bed.
func (b Bed) scale(c *canvas, y, lo, hi float64, pal shades) {
	const left, right = 45.0, width - 45.0
	w := (right - left) / bands
	for k, colour := range pal {
		fmt.Fprintf(&c.b, `<rect shape-rendering="crispEdges" x="%s" y="%s" width="%s" height="12" fill="%s"/>`,
			num(left+float64(k)*w), num(y), num(w+0.3), colour)
	}
	write := say.Fixed
	if b.Signed {
		write = say.Signed
	}
	c.text(left, y+27, middle, "tick", write(lo, 3))
	c.text((left+right)/2, y+27, middle, "tick", write((lo+hi)/2, 3)+" "+b.Unit)
	c.text(right, y+27, middle, "tick", write(hi, 3))
	c.text(left-10, y-6, start, "label", b.Low)
	c.text(right+10, y-6, end, "label", b.High)
}

// edges draws the bed's outline with its measures and its front.
func (b Bed) edges(c *canvas, s frame) {
	c.rect(s.x.from, s.y.to, s.x.to-s.x.from, s.y.from-s.y.to, "edge")
	xs, d := s.x.ticks(5)
	for _, x := range xs {
		c.line(s.x.at(x), s.y.from, s.x.at(x), s.y.from+4, "rule")
		c.text(s.x.at(x), s.y.from+17, middle, "tick", say.Fixed(x, d))
	}
	ys, d := s.y.ticks(5)
	for _, y := range ys {
		c.line(s.x.from-4, s.y.at(y), s.x.from, s.y.at(y), "rule")
		c.text(s.x.from-7, s.y.at(y)+4, end, "tick", say.Fixed(y, d))
	}
	c.text((s.x.from+s.x.to)/2, s.y.from+30, middle, "label", "front · mm")
}

func (b Bed) mark(c *canvas, s frame, m Mark) {
	x, y := s.x.at(m.U), s.y.at(m.V)
	switch m.Kind {
	case "next":
		c.spot(x, y, 13, "mark halo", "")
		c.spot(x, y, 7, "mark next", m.Tip)
	case "done":
		c.spot(x, y, 6, "mark done", m.Tip)
	case "zero":
		c.line(x-9, y, x+9, y, "mark cross")
		c.line(x, y-9, x, y+9, "mark cross")
	default:
		c.spot(x, y, 4, "mark planned", m.Tip)
	}
	if m.Label != "" {
		c.text(x, y-10, middle, "mark label", m.Label)
	}
}
