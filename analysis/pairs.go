package analysis

import (
	"math"

	"abbed/probe/record"
)

// Paired is one gauging with the probe touches of the same place just before
// and after it.
type Paired struct {
	N     int64        `json:"n"`
	T     float64      `json:"t"`
	Spot  int          `json:"spot"`
	Visit int          `json:"visit"`
	Place record.Place `json:"place"`
	// Touched is the probe's height at the gauging's time, mm, Contact the
	// nozzle's own (Z - blade).
	Touched float64 `json:"touched"`
	Contact float64 `json:"contact"`
	// G is Touched - Contact, mm: the raw gap error, level and all.
	G float64 `json:"g"`
	// U is the standard uncertainty of Touched from the scatter of the touches
	// and the report step, mm. The gauging's own scatter is not in it.
	U float64 `json:"u"`
	// Touches is how many touches tell Touched; 0: none, and G is of no use.
	Touches int `json:"touches"`
}

// Pairs returns each gauging with its paired touches: the mean of those before
// and the mean of those after, interpolated in time to the gauging. Gaugings
// without a touch have Touches 0.
func Pairs(run record.Run) []Paired { return pairs(clean(run)) }

func pairs(run record.Run) []Paired {
	touches := run.Of(record.SeriesPair)
	u := touchDoubt(run)
	var out []Paired
	for _, g := range run.Gaugings {
		out = append(out, pair(g, touches, u))
	}
	return out
}

// pair finds the touches of g's own visit on both sides in time. Strangers'
// records may not number visits: then the place decides (within 1 mm).
func pair(g record.Gauging, touches []record.Touch, u float64) Paired {
	var before, after []record.Touch
	for _, t := range touches {
		if t.Place.Distance(g.Place) > 1 || t.Spot >= 0 && g.Spot >= 0 && t.Spot != g.Spot {
			continue
		}
		if t.T <= g.T && (t.Pass == g.Visit || t.Pass < 0) {
			before = append(before, t)
		}
		if t.T > g.T && (t.Pass == g.Visit+1 || t.Pass < 0) {
			after = append(after, t)
		}
	}
	p := Paired{N: g.N, T: g.T, Spot: g.Spot, Visit: g.Visit, Place: g.Place,
		Contact: g.Z - g.Blade, Touches: len(before) + len(after)}
	zb, tb := meanTouch(before)
	za, ta := meanTouch(after)
	nb, na := float64(len(before)), float64(len(after))
	switch {
	case nb > 0 && na > 0:
		f := 0.5
		if ta > tb {
			f = (g.T - tb) / (ta - tb)
		}
		p.Touched = zb + f*(za-zb)
		p.U = u * math.Sqrt((1-f)*(1-f)/nb+f*f/na)
	case nb > 0:
		p.Touched, p.U = zb, u/math.Sqrt(nb)
	case na > 0:
		p.Touched, p.U = za, u/math.Sqrt(na)
	}
	p.G = p.Touched - p.Contact
	return p
}

func meanTouch(ts []record.Touch) (z, t float64) {
	for _, x := range ts {
		z += x.Z
		t += x.T
	}
	n := float64(max(len(ts), 1))
	return z / n, t / n
}
