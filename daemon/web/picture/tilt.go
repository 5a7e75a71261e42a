package picture

import (
	"abbed/config/say"
	"html/template"
	"math"
)

// Head is the head at one place of its beam: Gap is how much higher above the
// bed the nozzle stands there than where the Z offset was set, mm.
type Head struct {
	Name string
	Gap  float64
}

// Tilt shows why a map cannot show the tilt of the head: at each place the probe
// touches the bed just the same, and the nozzle stands at another height.
type Tilt struct {
	Heads []Head
	// Lever from nozzle to probe across the axis of the tilt, mm, + to the
	// right of the drawing.
	Lever float64
	Alt   string
}

// steepest is the largest angle that is drawn, rad.
const steepest = 16 * math.Pi / 180

// Factor is how many times too large the angles are drawn: as many as bring the
// largest to 16 degrees, to one digit; 0 if there is nothing to draw.
func (t Tilt) Factor() float64 {
	most := 0.0
	for _, h := range t.Heads {
		most = max(most, math.Abs(h.Gap/t.Lever))
	}
	if !(most > 0) || math.IsInf(most, 0) {
		return 0
	}
	k := steepest / most
	digit := math.Pow(10, math.Floor(math.Log10(k)))
	return math.Floor(k/digit) * digit
}

// Measures of the drawing: the drawn lever, and how far the nozzle is above the
// probe's tip.
const (
	drawnLever = 50.0
	drawnRise  = 26.0
	bedLine    = 128.0
)

// SVG draws the heads side by side; the broken line is the height of the nozzle
// that the map believes in everywhere.
func (t Tilt) SVG() template.HTML {
	c := newCanvas(188, t.Alt)
	c.rect(6, bedLine, width-12, 8, "bed")
	c.line(6, bedLine, width-6, bedLine, "main")
	c.line(6, bedLine-drawnRise, width-6, bedLine-drawnRise, "believed")
	k, room := t.Factor(), (width-12)/float64(max(len(t.Heads), 1))
	for i, h := range t.Heads {
		t.head(c, 6+room*(float64(i)+0.5), k*h.Gap/math.Abs(t.Lever), h)
	}
	c.text(width-8, bedLine+54, end, "label", "broken line: where the bed map has the nozzle")
	return c.done()
}

// head draws one head, turned about the probe's tip, which is on the bed.
func (t Tilt) head(c *canvas, mid, angle float64, h Head) {
	to := math.Copysign(1, t.Lever)
	tip := mid + to*drawnLever/2
	sin, cos := math.Sincos(angle)
	// at puts a point of the head, given from the probe's tip towards the nozzle, as upright.
	at := func(x, y float64) (float64, float64) {
		return tip - to*(x*cos-y*sin), bedLine - (x*sin + y*cos)
	}
	outline := func(class string, points ...[2]float64) {
		var xs, ys []float64
		for _, p := range points {
			x, y := at(p[0], p[1])
			xs, ys = append(xs, x), append(ys, y)
		}
		c.path(xs, ys, class)
	}
	outline("head", [2]float64{-10, 44}, [2]float64{-10, 84}, [2]float64{66, 84}, [2]float64{66, 44}, [2]float64{-10, 44})
	outline("probe", [2]float64{-3, 44}, [2]float64{-3, 6}, [2]float64{0, 0}, [2]float64{3, 6}, [2]float64{3, 44})
	outline("nozzle", [2]float64{42, 44}, [2]float64{48, 29}, [2]float64{50, drawnRise}, [2]float64{52, 29}, [2]float64{58, 44})
	x, y := at(drawnLever, drawnRise)
	if math.Abs(y-(bedLine-drawnRise)) > 1 {
		c.line(x, y, x, bedLine-drawnRise, "gap")
	}
	c.text(mid, 14, middle, "label", h.Name)
	c.text(mid, bedLine+22, middle, "label strong", say.MM(math.Abs(h.Gap)))
	c.text(mid, bedLine+36, middle, "label", verdict(h.Gap))
	if angle == 0 { // upright: what is what
		left, right := "nozzle", "probe"
		if to < 0 {
			left, right = right, left
		}
		c.text(min(tip+to*10, tip-to*66)+3, bedLine-70, start, "label", left)
		c.text(max(tip+to*10, tip-to*66)-3, bedLine-51, end, "label", right)
	}
}

// verdict says what a gap means for the first layer.
func verdict(gap float64) string {
	switch {
	case gap > 0:
		return "too high"
	case gap < 0:
		return "too low"
	}
	return "as it was set"
}
