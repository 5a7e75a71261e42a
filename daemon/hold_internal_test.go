package daemon

import (
	"testing"

	"abbed/config"
)

// By default a device is held for a run only, everything else always; what the
// owner says wins.
func TestRests(t *testing.T) {
	for _, c := range []struct {
		hold   string
		device bool
		want   bool
	}{
		{config.HoldAuto, true, true}, {config.HoldAuto, false, false}, {"", true, true},
		{config.HoldRun, false, true}, {config.HoldRun, true, true},
		{config.HoldAlways, true, false}, {config.HoldAlways, false, false},
	} {
		s := config.Default()
		s.Hold = c.hold
		if got := rests(s, c.device); got != c.want {
			t.Errorf("hold %q, device %v: rests %v", c.hold, c.device, got)
		}
	}
}
