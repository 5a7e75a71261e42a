package analysis

import (
	"math"

	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Gap is the fitted gap error over the bed, as contrasts against the zero
// place. It is immutable.
type Gap struct {
	// Zero is the place where the gap error is zero by definition.
	Zero record.Place
	// Area is the rectangle around the gauged places; Margin how far beyond it
	// the gap error is still given, mm.
	Area   record.Rect
	Margin float64

	surface surface
	steep   float64 // least slope that extrapolation assumes, mm per mm
}

// At returns the gap error at p, mm, against the zero place: + = the nozzle is
// too high there. u95 is the half width of the 95 % interval of the contrast.
// The reason is nil if p lies inside the gauged area with its margin;
// otherwise gap and u95 are 0.
func (g *Gap) At(p record.Place) (gap, u95 float64, reason *record.Problem) {
	if !result.Finite(p.U) || !result.Finite(p.V) {
		return 0, 0, &record.Problem{Code: "not-a-place", Text: "the place has no finite coordinates", Hint: "give x and y in mm"}
	}
	if !g.Area.Grown(g.Margin).Has(p) {
		return 0, 0, &record.Problem{Code: "outside-gauged",
			Text: "the place " + p.String() + " lies outside the gauged area",
			Hint: "gauge a place there, or within " + say.Far(g.Margin) + " of it"}
	}
	gap, u95 = g.at(p)
	return gap, u95, nil
}

// at is At without asking where p lies. A margin along an axis on which only
// one line was gauged is told by no term: it widens like Beyond.
func (g *Gap) at(p record.Place) (gap, u95 float64) {
	gap, u95 = g.surface.contrast(p, g.Zero)
	return gap, math.Hypot(u95, g.across(p)*g.steep)
}

// Between returns the covariance of the gap error at two places, mm^2.
func (g *Gap) Between(p, q record.Place) float64 {
	s, zero := g.surface, g.surface.row(g.Zero)
	if s.post == nil {
		return 0
	}
	return s.post.Between(s.row(p).Minus(zero), s.row(q).Minus(zero))
}

// across is how far p lies beside the line of the gauged places, mm; 0 where they span
// an area.
func (g *Gap) across(p record.Place) float64 {
	n, blind := g.Area.Nearest(p), 0.0
	if g.Area.W() < steady.Apart {
		blind = math.Hypot(blind, p.U-n.U)
	}
	if g.Area.H() < steady.Apart {
		blind = math.Hypot(blind, p.V-n.V)
	}
	return blind
}

// Beyond returns the gap error at any place: inside the gauged area as At,
// outside it that of the nearest edge (the area with its margin), with its
// half width widened by the distance times the steepest slope that is
// plausible there: that of the fit at the edge with its doubt, and never less
// than a tenth of the steepest correction allowed. d is the distance from the
// edge, mm, 0 inside.
func (g *Gap) Beyond(p record.Place) (gap, u95, d float64) {
	edge := g.Area.Grown(g.Margin).Nearest(p)
	gap, u95 = g.at(edge)
	d = p.Distance(edge)
	if d < 1e-3 {
		return gap, u95, 0
	}
	// One step inward along the way out: the slope there with its doubt.
	const step = 10.0
	in := record.Place{U: edge.U - step*(p.U-edge.U)/d, V: edge.V - step*(p.V-edge.V)/d}
	v, u := g.surface.contrast(edge, in)
	slope := math.Max((math.Abs(v)+u)/step, g.steep)
	return gap, math.Hypot(u95, slope*d), d
}

// chord is over how many mm a slope is taken: about the pitch of a stored map,
// whose neighbouring nodes the limit is meant for.
const chord = 40.0

// Slope returns the size of the gradient of the gap error at p, mm per mm, over
// chords of 40 mm that are kept inside the gauged area.
func (g *Gap) Slope(p record.Place) float64 {
	s, _ := g.slope(p)
	return s
}

// slope also returns the half width of the 95 % interval, mm per mm.
func (g *Gap) slope(p record.Place) (s, u95 float64) {
	across := func(lo, hi, at float64) (a, b float64) {
		h := math.Min(chord, hi-lo) / 2
		m := min(max(at, lo+h), hi-h)
		return m - h, m + h
	}
	u0, u1 := across(g.Area.X0, g.Area.X1, p.U)
	v0, v1 := across(g.Area.Y0, g.Area.Y1, p.V)
	var du, dv, uu, uv float64
	if u1-u0 >= steady.Apart {
		d, u := g.surface.contrast(record.Place{U: u1, V: p.V}, record.Place{U: u0, V: p.V})
		du, uu = d/(u1-u0), u/(u1-u0)
	}
	if v1-v0 >= steady.Apart {
		d, u := g.surface.contrast(record.Place{U: p.U, V: v1}, record.Place{U: p.U, V: v0})
		dv, uv = d/(v1-v0), u/(v1-v0)
	}
	s = math.Hypot(du, dv)
	if s == 0 {
		return 0, math.Hypot(uu, uv)
	}
	return s, math.Hypot(du*uu, dv*uv) / s
}

// Extreme is the gap error where something about it is largest.
type Extreme struct {
	Place     record.Place `json:"place"`
	Gap, U95  float64
	Slope     float64 // the steepest, mm per mm
	SlopeU95  float64 // its half width
	MostDoubt float64 // the largest u95 in the area, mm
}

// Largest returns the place of the gauged area where |gap| + u95 is largest,
// on a lattice of 17 x 17 over it, with the steepest slope and the largest
// doubt anywhere on that lattice.
func (g *Gap) Largest() Extreme {
	var e Extreme
	worst := -1.0
	for _, p := range Lattice(g.Area, 17, 17) {
		v, u := g.at(p)
		if a := math.Abs(v) + u; a > worst {
			worst, e.Place, e.Gap, e.U95 = a, p, v, u
		}
		if s, su := g.slope(p); s > e.Slope {
			e.Slope, e.SlopeU95 = s, su
		}
		e.MostDoubt = math.Max(e.MostDoubt, u)
	}
	return e
}

// Lattice returns n x m places over a rectangle, rows along Y; along an axis on which no two
// columns or rows stand, one in the middle.
func Lattice(r record.Rect, n, m int) []record.Place {
	line := func(a, b float64, n int) []float64 {
		if b-a < steady.Apart || n < 2 {
			return []float64{(a + b) / 2}
		}
		out := make([]float64, n)
		for i := range out {
			out[i] = a + (b-a)*float64(i)/float64(n-1)
		}
		return out
	}
	var out []record.Place
	for _, v := range line(r.Y0, r.Y1, m) {
		for _, u := range line(r.X0, r.X1, n) {
			out = append(out, record.Place{U: u, V: v})
		}
	}
	return out
}

// PlaceGap is a gap error at a place, mm.
type PlaceGap struct {
	record.Place
	Gap float64 `json:"gap" about:"mm; + = the nozzle is too high"`
	U95 float64 `json:"u95" about:"95 % half width, mm"`
}

// Against returns the gap error at p against q as a value. Beside a single gauged line it
// widens like Gap.Beyond.
func (g *Gap) Against(p, q record.Place) result.Measured {
	v, half := g.surface.contrast(p, q)
	half = math.Hypot(half, math.Hypot(g.across(p), g.across(q))*g.steep)
	return result.Of(v, half/result.Z95, math.Inf(1), "mm")
}
