package probe

import "abbed/probe/record"

// spotsOf is how many gauging places the run has had so far.
func spotsOf(run record.Run) int {
	n := 0
	for _, t := range run.Of(record.SeriesPair) {
		n = max(n, t.Spot+1)
	}
	return n
}

// anywhere are the places on offer, and those all over the area that may be gauged
// from there by the rules.
func (g *gauging) anywhere(gs []gauged, room Room) []record.Place {
	out := g.offers(gs, room)
	for _, p := range allOver(g.plan.inner(g.setup)) {
		near := nearest(gs, p).place.Distance(p)
		if near >= leastHop && near <= hopFrom(len(gs)) && room.At(p) >= leastRoom && !g.route.passed(p, nil) {
			out = append(out, p)
		}
	}
	return out
}

// allOver are places all over the area, row by row.
func allOver(in record.Rect) (out []record.Place) {
	for _, v := range spread(in.Y0, in.Y1, 3) {
		for _, u := range spread(in.X0, in.X1, 9) {
			out = append(out, record.Place{U: u, V: v})
		}
	}
	return out
}
