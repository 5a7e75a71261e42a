package probe

import (
	"math"
	"slices"

	"abbed/probe/record"
)

// How far a touch may be from what the others of its run predict for it, mm, and how
// much more per mm to the nearest of them: while they lie on one line a bed may slope by
// 1 mm per 100 mm, and half of that is left beside the plane of all. The first place has the homing alone to be held against: a Z offset that is
// off by more than half a millimetre was not set (the project's design; the slopes common practice,
// no source).
const (
	strayTouch = 0.25
	strayFirst = 0.6
	slopeOne   = 0.010
	slopeMore  = 0.005
	// aroundFar is how many times the distance to the nearest touch the surface is
	// looked at, and slopeFrom at how many places at least for its slope.
	aroundFar = 2.5
	slopeFrom = 4
)

// ground is the surface that the probe touches, as the touches so far tell it.
type ground struct {
	zero  record.Place
	on    float64 // how far it is above the bed, mm
	spots []groundSpot
}

// groundSpot is one touched place, with the heights found there, mm. Held says that
// other places predicted the first of them.
type groundSpot struct {
	place record.Place
	zs    []float64
	held  bool
}

// known reports whether something may rest on the place: its touches agree, or other
// places predicted the only one.
func (s groundSpot) known() bool {
	if len(s.zs) == 1 {
		return s.held
	}
	return agree(s.zs)
}

// any reports whether something is known.
func (g *ground) any() bool { return slices.ContainsFunc(g.spots, groundSpot.known) }

// add takes a touch that can be believed by all others.
func (g *ground) add(p record.Place, z float64) {
	for i := range g.spots {
		if s := &g.spots[i]; s.place.Distance(p) < 1 {
			s.zs = append(s.zs, z)
			return
		}
	}
	g.spots = append(g.spots, groundSpot{p, []float64{z}, g.any()})
}

// expect returns the height that the touches so far predict at p, and how far from it
// a touch may be, mm: that of the place itself, where its touches agree; else what
// its nearest neighbours, five at most, say in the median, whether the surface goes on along its
// slope around there or bends back to level.
func (g *ground) expect(p record.Place) (z, within float64) {
	var known []gauged
	for _, s := range g.spots {
		switch here := s.place.Distance(p) < 1; {
		case here && len(s.zs) > 1 && s.known():
			return median(s.zs), strayTouch
		case !here && s.known():
			known = append(known, gauged{place: s.place, raw: median(s.zs)})
		}
	}
	if len(known) == 0 {
		return g.on, strayFirst + slopeOne*p.Distance(g.zero)
	}
	far := nearest(known, p).place.Distance(p)
	around := slices.DeleteFunc(slices.Clone(known), func(g gauged) bool { return g.place.Distance(p) > aroundFar*far })
	wide := around
	if len(wide) < slopeFrom {
		wide = nearestFew(known, p, slopeFrom)
	}
	_, su, sv, rank := plane(wide)
	var sloping, level []float64
	for _, n := range nearestFew(around, p, 5) {
		sloping = append(sloping, n.raw+su*(p.U-n.place.U)+sv*(p.V-n.place.V))
		level = append(level, n.raw)
	}
	slope := slopeMore
	if rank < 2 {
		slope = slopeOne
	}
	a, b := median(sloping), median(level)
	return (a + b) / 2, strayTouch + slope*far + math.Abs(a-b)/2
}

// holds reports whether a touch of p at height z can be of this surface.
func (g *ground) holds(p record.Place, z float64) bool {
	expected, within := g.expect(p)
	return math.Abs(z-expected) <= within
}
