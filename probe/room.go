package probe

import (
	"math"
	"slices"

	"abbed/analysis/steady"
	"abbed/probe/record"
)

// Constants of the room under the nozzle (the project's safety rule 4).
const (
	leastRoom    = 0.3   // mm, under the nozzle at a touch
	gaugedSlope  = 0.003 // mm per mm: at least this steep between gauged places
	unknownSlope = 0.010 // mm per mm: while fewer than two places are gauged
)

// Room foretells how far the nozzle is above the bed when the probe touches.
//
//	room(p) = trigger + g(q) - |p - q| * slope
//
// with q the nearest gauged place (the zero place, g = 0, before there is one)
// and slope the steepest between gauged places, at least 0.3 mm per 100 mm; 1
// mm per 100 mm from the zero place while fewer than two are gauged. A nozzle
// that is itself the probe needs no room: +Inf everywhere.
type Room struct {
	trigger float64
	zero    record.Place
	gauged  []gauged
	nozzle  bool
}

// gauged is the gap error at a place as the person's records say it so far.
type gauged struct {
	place record.Place
	// raw is probe minus nozzle, mm; g the same against the zero place.
	raw, g  float64
	records int
}

// NewRoom returns the room as the run so far tells it.
func NewRoom(run record.Run) Room {
	var s soFar
	return s.room(run)
}

// soFar remembers what the records so far tell, until there are others: it is
// asked at every touch.
type soFar struct {
	gaugings, touches int
	last              int64
	places            []gauged
	pairing           steady.Pairing
}

// gauged returns the gauged places of the run; the slice is not to be changed.
func (s *soFar) gauged(run record.Run) []gauged {
	touches, last := 0, int64(0)
	for _, t := range run.Touches {
		if t.Series == record.SeriesPair {
			touches++
		}
	}
	for _, g := range run.Gaugings {
		last = g.N
	}
	if len(run.Gaugings) != s.gaugings || touches != s.touches || last != s.last {
		s.gaugings, s.touches, s.last, s.places = len(run.Gaugings), touches, last, gaugedPlaces(s.pairing.Of(run), run)
	}
	return s.places
}

func (s *soFar) room(run record.Run) Room {
	return Room{
		trigger: run.Setup.Trigger, zero: run.Setup.Zero,
		gauged: s.gauged(run), nozzle: run.Setup.NoLever(),
	}
}

// At returns the room under the nozzle at a touch of p, mm.
func (r Room) At(p record.Place) float64 {
	if r.nozzle {
		return math.Inf(1)
	}
	if len(r.gauged) < 2 {
		return r.trigger - unknownSlope*p.Distance(r.zero)
	}
	q := nearest(r.gauged, p)
	return r.trigger + q.g - r.slope()*p.Distance(q.place)
}

// Reach returns how far from q a touch may be made, mm; 0 if not even there.
func (r Room) Reach(q record.Place) float64 {
	if r.nozzle {
		return math.Inf(1)
	}
	slope := unknownSlope
	if len(r.gauged) >= 2 {
		slope = r.slope()
	}
	return max(0, (r.At(q)-leastRoom)/slope)
}

// clear leaves the places without room for a touch out of the rows, and returns how many
// are left.
func (r Room) clear(rows [][]record.Place) (left int) {
	for i, row := range rows {
		rows[i] = slices.DeleteFunc(row, func(p record.Place) bool { return r.At(p) < leastRoom })
		left += len(rows[i])
	}
	return left
}

func (r Room) slope() float64 {
	s := gaugedSlope
	for i, a := range r.gauged {
		for _, b := range r.gauged[:i] {
			if d := a.place.Distance(b.place); d > 1 {
				s = max(s, math.Abs(a.g-b.g)/d)
			}
		}
	}
	return s
}

// gaugedPlaces returns the mean gap error of each gauged place, the zero place
// first if it is gauged; without it g is against nothing and equals raw.
func gaugedPlaces(pairs []steady.Paired, run record.Run) []gauged {
	var out []gauged
	for _, p := range pairs {
		if p.Touches == 0 {
			continue
		}
		k := slices.IndexFunc(out, func(g gauged) bool { return g.place.Distance(p.Place) < 1 })
		if k < 0 {
			k = len(out)
			out = append(out, gauged{place: p.Place})
		}
		g := &out[k]
		g.raw = (g.raw*float64(g.records) + p.G) / float64(g.records+1)
		g.records++
	}
	zero := 0.0
	for _, g := range out {
		if g.place.Distance(run.Setup.Zero) < 1 {
			zero = g.raw
		}
	}
	for i := range out {
		out[i].g = out[i].raw - zero
	}
	return out
}

// nearest returns the gauged place nearest to p; there must be one.
func nearest(gs []gauged, p record.Place) gauged {
	best := gs[0]
	for _, g := range gs[1:] {
		if g.place.Distance(p) < best.place.Distance(p) {
			best = g
		}
	}
	return best
}
