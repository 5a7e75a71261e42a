package analysis

import (
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// observations are gaugings ready to be fitted.
type observations struct {
	pairs   []Paired
	g, w    []float64
	sigma02 float64 // expected variance of one record, mm^2
	shaken  bool    // repeats scatter more than was expected: sigma02 is theirs
	extra   []extra // readings beside the gaugings
}

// observe weighs the pairs: variance of the gauging as expected plus that of
// its touches and of a coarse last step; weights are relative to the expected variance.
func observe(ps []Paired, c record.Criteria) observations {
	o := observations{pairs: ps}
	variance := func(p Paired) float64 { return c.GaugeScatter*c.GaugeScatter + p.U*p.U + p.StepU*p.StepU }
	for _, p := range ps {
		o.sigma02 += variance(p) / float64(len(ps))
	}
	o.sigma02 = math.Max(o.sigma02, 1e-8)
	for _, p := range ps {
		o.g = append(o.g, p.G)
		o.w = append(o.w, o.sigma02/math.Max(variance(p), 1e-8))
	}
	return o
}

// shaky says whether repeats at one place scatter more than was expected,
// beyond chance (F at 5 %), and then takes their own scatter for the expected
// one: a prior that the run contradicts must not narrow the intervals. What a
// model leaves beside repeats is no scatter, and does not count here.
func (o *observations) shaky() bool {
	pure, dof := fit.PureError(o.g, o.w, o.places())
	if dof < 2 || fit.FTail(pure/dof/o.sigma02, dof, 1e6) > 0.05 {
		return false
	}
	o.sigma02 = pure / dof
	o.shaken = true
	return true
}

// places numbers the places: records within 1 mm are at one.
func (o *observations) places() []int {
	var at []record.Place
	group := make([]int, len(o.pairs))
	for i, p := range o.pairs {
		group[i] = slices.IndexFunc(at, func(q record.Place) bool { return q.Distance(p.Place) < 1 })
		if group[i] < 0 {
			group[i] = len(at)
			at = append(at, p.Place)
		}
	}
	return group
}

// times returns the middle and half of the span of the gauging, s.
func (o *observations) times() (mid, half float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range o.pairs {
		lo, hi = math.Min(lo, p.T), math.Max(hi, p.T)
	}
	return (lo + hi) / 2, math.Max((hi-lo)/2, 1e-9)
}

// when returns the time of record i, -1 at the first to 1 at the last; 0 where
// they tell no time.
func (o *observations) when(i int) float64 {
	mid, half := o.times()
	return max(-1, min((o.pairs[i].T-mid)/half, 1))
}

// comeBack is the share of the gauging's span after which a second record at a
// place tells a drift of the gap error from a shape: two records in one visit
// tell nothing of it, and to let the shape tell would take every slope for a
// drift, since the places go outward in time.
const comeBack = 0.4

// again says whether a place was gauged again much later.
func (o *observations) again() bool {
	mid, half := o.times()
	if !(half > 1) || math.IsInf(mid, 0) {
		return false
	}
	first := map[int]float64{}
	for i, g := range o.places() {
		t, seen := first[g]
		if !seen {
			first[g] = o.pairs[i].T
			continue
		}
		if o.w[i] > 0 && math.Abs(o.pairs[i].T-t) > comeBack*2*half {
			return true
		}
	}
	return false
}
