package config_test

import (
	"math"
	"testing"

	"abbed/config"
)

// The tolerated share of the first layer, where it is set, takes the place of
// the tolerance in mm: 15 % of 0.2 mm is the default 0.03 mm.
func TestToleratedShareOfTheLayer(t *testing.T) {
	for _, c := range []struct{ layer, share, want float64 }{
		{0.2, 0, 0.03}, {0.2, 0.15, 0.03}, {0.3, 0.1, 0.03}, {0.28, 0.25, 0.07}, {0.05, 0.05, 0.005},
	} {
		s := config.Default()
		s.Layer, s.LayerShare = c.layer, c.share
		if got := s.Judged().Tolerance; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("layer %g, share %g: %g, want %g", c.layer, c.share, got, c.want)
		}
		if s.Criteria.Tolerance != 0.03 {
			t.Error("the owner's own words were changed")
		}
	}
}
