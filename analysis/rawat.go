package analysis

import (
	"math"

	"abbed/probe/record"
)

// RawAt returns the raw gap error (the probe's height less the nozzle's, the level of
// the Z offset in it) that the readings so far let expect at p, mm, with the standard
// uncertainty of one more reading against it but the hand's own scatter. ok is false
// where nothing can be expected yet.
func RawAt(run record.Run, p record.Place) (raw, u float64, ok bool) {
	s := steady(run)
	g := gauge(run, s, nil, nil)
	trial := planner{gauged: g, run: run}.trial()
	if trial == nil {
		return 0, 0, false
	}
	mean, n := 0.0, 0.0
	for _, q := range Pairs(run) {
		if q.Touches > 0 {
			v, _ := trial.at(q.Place)
			mean, n = mean+q.G-v, n+1
		}
	}
	v, u95 := trial.at(p)
	scatter := run.Setup.Criteria.GaugeScatter
	return v + mean/n, math.Hypot(u95/2, scatter/math.Sqrt(n)), n > 0
}
