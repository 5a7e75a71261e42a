package record

import (
	"math"
	"strconv"
	"strings"

	"abbed/config/say"
)

// Place is a point of the bed, mm, in the frame of the machine's nominal
// coordinates: the place under the nozzle when the nozzle stands at (U, V).
type Place struct {
	U float64 `json:"u"`
	V float64 `json:"v"`
}

// Nozzle is a horizontal position of the machine, mm: where the nozzle stands.
type Nozzle struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// Lever is the horizontal offset of the probe from the nozzle, mm: the probe
// stands at nozzle + lever.
type Lever struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// NozzleFor returns where the nozzle must stand for the probe to be over p.
func (l Lever) NozzleFor(p Place) Nozzle { return Nozzle{X: p.U - l.X, Y: p.V - l.Y} }

// PlaceUnderProbe returns the place under the probe while the nozzle is at n.
func (l Lever) PlaceUnderProbe(n Nozzle) Place { return Place{U: n.X + l.X, V: n.Y + l.Y} }

// Length returns the length of the lever, mm.
func (l Lever) Length() float64 { return math.Hypot(l.X, l.Y) }

// None reports whether the probe is the nozzle, to within what a probe's
// mounting is known: 0.5 mm.
func (l Lever) None() bool { return l.Length() < 0.5 }

// Under returns where the nozzle must stand to be over p itself.
func (p Place) Under() Nozzle { return Nozzle{X: p.U, Y: p.V} }

// PlaceUnder returns the place under the nozzle.
func (n Nozzle) PlaceUnder() Place { return Place{U: n.X, V: n.Y} }

// Distance returns the distance between two places, mm.
func (p Place) Distance(q Place) float64 { return math.Hypot(p.U-q.U, p.V-q.V) }

// String gives the place as people read it.
func (p Place) String() string { return say.At(p.U, p.V) }

// Rect is an upright rectangle, mm; X0 <= X1 and Y0 <= Y1.
type Rect struct {
	X0 float64 `json:"x0" about:"mm"`
	Y0 float64 `json:"y0" about:"mm"`
	X1 float64 `json:"x1" about:"mm"`
	Y1 float64 `json:"y1" about:"mm"`
}

// String gives the rectangle as flags take it: x0,y0,x1,y1.
func (r Rect) String() string {
	text := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	return strings.Join([]string{text(r.X0), text(r.Y0), text(r.X1), text(r.Y1)}, ",")
}

// Valid reports whether r is finite and has an area.
func (r Rect) Valid() bool {
	for _, c := range [4]float64{r.X0, r.Y0, r.X1, r.Y1} {
		if math.IsNaN(c) || math.IsInf(c, 0) {
			return false
		}
	}
	return r.X1 > r.X0 && r.Y1 > r.Y0
}

// Has reports whether p lies in r or on its edge, with a tolerance of 1 um.
func (r Rect) Has(p Place) bool {
	const eps = 1e-3
	return p.U >= r.X0-eps && p.U <= r.X1+eps && p.V >= r.Y0-eps && p.V <= r.Y1+eps
}

// Grown returns r with each edge moved outward by d, mm (inward if negative).
func (r Rect) Grown(d float64) Rect { return Rect{r.X0 - d, r.Y0 - d, r.X1 + d, r.Y1 + d} }

// Shifted returns r moved by (dx, dy), mm.
func (r Rect) Shifted(dx, dy float64) Rect {
	return Rect{r.X0 + dx, r.Y0 + dy, r.X1 + dx, r.Y1 + dy}
}

// Meet returns the part that r and q share; it may be not Valid.
func (r Rect) Meet(q Rect) Rect {
	return Rect{math.Max(r.X0, q.X0), math.Max(r.Y0, q.Y0), math.Min(r.X1, q.X1), math.Min(r.Y1, q.Y1)}
}

// Nearest returns the place of r that is nearest to p: p itself if inside.
func (r Rect) Nearest(p Place) Place {
	return Place{U: min(max(p.U, r.X0), r.X1), V: min(max(p.V, r.Y0), r.Y1)}
}

// Middle returns the middle of r.
func (r Rect) Middle() Place { return Place{U: (r.X0 + r.X1) / 2, V: (r.Y0 + r.Y1) / 2} }

// W and H return width and height of r, mm.
func (r Rect) W() float64 { return r.X1 - r.X0 }

// H returns the height (along Y) of r, mm.
func (r Rect) H() float64 { return r.Y1 - r.Y0 }

// Bound returns the smallest rectangle around the places; it has no area (and
// is not Valid) for fewer than two.
func Bound(places []Place) Rect {
	if len(places) == 0 {
		return Rect{}
	}
	r := Rect{places[0].U, places[0].V, places[0].U, places[0].V}
	for _, p := range places[1:] {
		r = Rect{min(r.X0, p.U), min(r.Y0, p.V), max(r.X1, p.U), max(r.Y1, p.V)}
	}
	return r
}
