package picture

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// width of every drawing, in its own units.
const width = 360

// canvas takes shapes.
type canvas struct {
	b strings.Builder
	h float64
}

// newCanvas begins a drawing of height h with its alternative text.
func newCanvas(h float64, alt string) *canvas {
	c := &canvas{h: h}
	fmt.Fprintf(&c.b, `<svg class="picture" viewBox="0 0 %d %s" role="img" aria-label="%s">`, width, num(h), esc(alt))
	return c
}

// done ends the drawing.
func (c *canvas) done() template.HTML {
	c.b.WriteString("</svg>")
	return template.HTML(c.b.String()) //nolint:gosec // every text went through esc
}

// esc makes a text safe within an element and within a quoted attribute.
func esc(s string) string { return template.HTMLEscapeString(s) }

// num writes a coordinate to a tenth of a unit.
func num(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// Anchors of a text.
const (
	start  = "start"
	middle = "middle"
	end    = "end"
)

func (c *canvas) text(x, y float64, anchor, class, text string) {
	fmt.Fprintf(&c.b, `<text x="%s" y="%s" text-anchor="%s" class="%s">%s</text>`, num(x), num(y), anchor, class, esc(text))
}

func (c *canvas) line(x1, y1, x2, y2 float64, class string) {
	fmt.Fprintf(&c.b, `<line x1="%s" y1="%s" x2="%s" y2="%s" class="%s"/>`, num(x1), num(y1), num(x2), num(y2), class)
}

func (c *canvas) rect(x, y, w, h float64, class string) {
	fmt.Fprintf(&c.b, `<rect x="%s" y="%s" width="%s" height="%s" class="%s"/>`, num(x), num(y), num(w), num(h), class)
}

// spot draws a circle; tip shows under the cursor.
func (c *canvas) spot(x, y, r float64, class, tip string) {
	fmt.Fprintf(&c.b, `<circle cx="%s" cy="%s" r="%s" class="%s"`, num(x), num(y), num(r), class)
	if tip == "" {
		c.b.WriteString("/>")
		return
	}
	fmt.Fprintf(&c.b, `><title>%s</title></circle>`, esc(tip))
}

// told leaves points with what they say, for a finger on the drawing, where a
// dot for each would be too heavy.
func (c *canvas) told(xs, ys []float64, says []string) {
	all := make([]string, len(xs))
	for i := range xs {
		all[i] = num(xs[i]) + " " + num(ys[i]) + " " + says[i]
	}
	fmt.Fprintf(&c.b, `<g class="told" data-at="%s"></g>`, esc(strings.Join(all, ";")))
}

// path draws through points; a point that is not a number interrupts it.
func (c *canvas) path(xs, ys []float64, class string) {
	var d strings.Builder
	pen := "M"
	for i := range xs {
		if math.IsNaN(xs[i]) || math.IsNaN(ys[i]) {
			pen = "M"
			continue
		}
		d.WriteString(pen + num(xs[i]) + " " + num(ys[i]))
		pen = "L"
	}
	if d.Len() > 0 {
		fmt.Fprintf(&c.b, `<path d="%s" class="%s"/>`, d.String(), class)
	}
}

// band fills between two lines over the same xs.
func (c *canvas) band(xs, lo, hi []float64, class string) {
	if len(xs) < 2 {
		return
	}
	var d strings.Builder
	pen := "M"
	for i := range xs {
		d.WriteString(pen + num(xs[i]) + " " + num(hi[i]))
		pen = "L"
	}
	for i := len(xs) - 1; i >= 0; i-- {
		d.WriteString("L" + num(xs[i]) + " " + num(lo[i]))
	}
	fmt.Fprintf(&c.b, `<path d="%sZ" class="%s"/>`, d.String(), class)
}
