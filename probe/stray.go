package probe

import (
	"math"
	"slices"
)

const (
	strayBeyond = 0.05 // mm from the median of the touches of one visit
	strayTries  = 3    // touches more, until they agree
)

// agree reports whether the touches of one visit, heights zs, can be believed: more
// than half of them, and at least two if there are several, lie close to their
// median. One stray touch of two would foretell the contact wrong by half of what
// it is off, and the nozzle is lowered by that.
func agree(zs []float64) bool {
	if len(zs) < 2 {
		return true
	}
	m, near := median(zs), 0
	for _, z := range zs {
		if math.Abs(z-m) <= strayBeyond {
			near++
		}
	}
	return near >= 2 && 2*near > len(zs)
}

// median returns the middle of zs, at least one, or the mean of the two in the
// middle.
func median(zs []float64) float64 {
	s := slices.Sorted(slices.Values(zs))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}
