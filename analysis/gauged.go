package analysis

import (
	"math"
	"slices"

	"abbed/analysis/steady"
	"abbed/probe/record"
)

func placesOf(ps []steady.Paired) []record.Place {
	var out []record.Place
	for _, p := range ps {
		out = append(out, p.Place)
	}
	return out
}

// gaugedAt are the places of all gaugings, those of later runs among them; where there
// are none those of the printed patches, which then stand for them.
func (g *gauged) gaugedAt() []record.Place {
	out := placesOf(g.pairs)
	for _, x := range g.extra {
		if x.by == byLater || x.by == byCoupons && len(g.pairs) == 0 {
			out = append(out, x.place)
		}
	}
	return out
}

// area is the rectangle around the gauged places.
func (g *gauged) area() record.Rect { return record.Bound(g.gaugedAt()) }

// columns and rows are those of the gauged places.
func (g *gauged) columns() []float64 {
	c, _ := steady.Cluster(each(g.gaugedAt(), func(p record.Place) float64 { return p.U }), steady.Apart)
	return c
}

func (g *gauged) rows() []float64 {
	c, _ := steady.Cluster(each(g.gaugedAt(), func(p record.Place) float64 { return p.V }), steady.Apart)
	return c
}

func each(ps []record.Place, of func(record.Place) float64) []float64 {
	out := make([]float64, len(ps))
	for i, p := range ps {
		out[i] = of(p)
	}
	return out
}

// groups numbers the places of the pairs.
func (g *gauged) groups() []int {
	which, _ := grouped(placesOf(g.pairs))
	return which
}

// grouped numbers places, those within 1 mm as one, and counts them.
func grouped(all []record.Place) (which []int, n int) {
	var at []record.Place
	for _, p := range all {
		k := slices.IndexFunc(at, func(q record.Place) bool { return q.Distance(p) < 1 })
		if k < 0 {
			k, at = len(at), append(at, p)
		}
		which = append(which, k)
	}
	return which, len(at)
}

// times returns the middle and half of the span of the gauging, s.
func (g *gauged) times() (mid, half float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range g.pairs {
		lo, hi = math.Min(lo, p.T), math.Max(hi, p.T)
	}
	return (lo + hi) / 2, math.Max((hi-lo)/2, 1e-9)
}

// when returns the time of record i, -1 at the first to 1 at the last.
func (g *gauged) when(i int) float64 {
	mid, half := g.times()
	return max(-1, min((g.pairs[i].T-mid)/half, 1))
}

// comeBack is the share of the gauging's span after which a second record at a
// place tells a drift of the gap error from a shape: two records in one visit
// tell nothing of it, and to let the shape tell would take every slope for a
// drift, since the places go outward in time.
const comeBack = 0.4

// again says whether a place was gauged again much later.
func (g *gauged) again() bool {
	mid, half := g.times()
	if !(half > 1) || math.IsInf(mid, 0) {
		return false
	}
	first := map[int]float64{}
	for i, k := range g.groups() {
		t, seen := first[k]
		if !seen {
			first[k] = g.pairs[i].T
		} else if math.Abs(g.pairs[i].T-t) > comeBack*2*half {
			return true
		}
	}
	return false
}

// records is how many records at the blade stand in the fit, each later run's less
// the one that its own constant takes.
func (g *gauged) records() int {
	n, runs := len(g.pairs), map[int]bool{}
	for _, x := range g.extra {
		if x.by == byLater || x.by == byCoupons && len(g.pairs) == 0 {
			n, runs[x.reading.Constant] = n+1, true
		}
	}
	return n - len(runs)
}
