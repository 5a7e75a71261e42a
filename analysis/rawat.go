package analysis

import (
	"math"

	"abbed/probe/record"
)

// RawAt returns the raw gap error (the probe's height less the nozzle's, the level of
// the Z offset in it) that the model expects at p from the readings so far, mm, with the
// standard uncertainty of one more reading against it: that of the whole mixture, of the
// touches, and of the hand. ok is false where nothing can be expected yet.
func RawAt(run record.Run, p record.Place) (raw, u float64, ok bool) {
	s := steady(run)
	g := gauge(run, s, nil, nil, ways{})
	if g.surface.post == nil {
		return 0, 0, false
	}
	mean, v := g.surface.post.Raw(g.machine.Gap(p), 0)
	return mean + g.base(), math.Sqrt(v + s.sigma*s.sigma + math.Pow(g.surface.post.Hand(), 2)), true
}
