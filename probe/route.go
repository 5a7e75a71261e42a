package probe

import (
	"math"

	"abbed/probe/record"
)

// route chooses the next gauging place: the aims in order, by hops that stay
// within the longest hop of a gauged place (hopFrom) and within the room under the nozzle.
type route struct {
	aims    []record.Place
	skipped []record.Place
	reach   record.Rect
}

// leastHop is the shortest hop that is worth a place, mm.
const leastHop = 15

// next returns the next place, an aim or a stepping stone to one.
// cramped says that aims are left which the room under the nozzle forbids.
func (r *route) next(gs []gauged, room Room) (p record.Place, more, cramped bool) {
	for _, a := range r.aims {
		if r.passed(a, gs) {
			continue
		}
		if len(gs) == 0 {
			return a, true, false
		}
		p, ok, tight := r.hop(a, gs, room)
		if !ok {
			cramped = cramped || tight
			continue
		}
		return p, true, false
	}
	return record.Place{}, false, cramped
}

// passed reports whether an aim needs no visit any more.
func (r *route) passed(a record.Place, gs []gauged) bool {
	for _, s := range r.skipped {
		if s.Distance(a) < leastHop {
			return true
		}
	}
	for _, g := range gs {
		if g.place.Distance(a) < 1 {
			return true
		}
	}
	return false
}

// hopFrom is how far a place may lie from one already gauged, mm, after so many.
func hopFrom(gauged int) float64 {
	if gauged < modelFrom {
		return hopMost
	}
	return hopKnown
}

// hop returns the aim itself if it may be gauged from here, or a stepping stone
// on the way from the nearest gauged place.
func (r *route) hop(a record.Place, gs []gauged, room Room) (p record.Place, ok, tight bool) {
	from := nearest(gs, a).place
	far := from.Distance(a)
	most := hopFrom(len(gs))
	if far <= most && room.At(a) >= leastRoom {
		return a, true, false
	}
	step := far / math.Ceil(far/most)
	for step > leastHop {
		f := step / far
		p := record.Place{U: from.U + f*(a.U-from.U), V: from.V + f*(a.V-from.V)}
		if r.passed(p, nil) {
			return p, false, false // skipped by the person: no way through here
		}
		if room.At(p) >= leastRoom {
			return p, true, false
		}
		step *= 0.8
	}
	return a, false, true
}

// walk foretells the places that will be visited beyond those of gs, in their
// order, if each has the gap error of the zero place.
func (r *route) walk(gs []gauged, room Room) []record.Place {
	walked := *r
	gs = append([]gauged(nil), gs...)
	var out []record.Place
	for len(out) < 200 {
		room.gauged = gs
		p, more, _ := walked.next(gs, room)
		if !more {
			break
		}
		gs, out = append(gs, gauged{place: p}), append(out, p)
	}
	return out
}
