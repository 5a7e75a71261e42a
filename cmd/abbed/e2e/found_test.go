package e2e_test

import (
	"fmt"
	"testing"
	"time"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// What the walks found, each with as little as shows it.

// TestLostHomingIsNoHoming: a numbered board counts the homing and does not do it; the
// answer is lost, and the line sent once more is asked for as had. That it took its
// time is no sign of a homing: nothing moves before one that was seen.
func TestLostHomingIsNoHoming(t *testing.T) {
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, lookup(t, "twist-level"), 2)
		defer s.close()
		s.printer.Inject(bench.Fault{Name: "silence", When: "G28"})
		run := s.confirmed(t, "repeat")
		run = s.until(t, run.ID, func(r api.Run) bool { return r.Touches > 3 })
		t.Logf("%s: %+v", run.State, run.Error)
		s.sound(t)
		_, _ = s.api.Stop(t.Context())
	})
}

// TestLyingProbeIsNoRepair: a probe that lies by more than anything else in the run
// allows is a fault of the probe. It is not told as a machine that is to be repaired.
func TestLyingProbeIsNoRepair(t *testing.T) {
	t.Parallel()
	for name, lie := range map[string]bench.Lie{
		"a jump":         {Kind: bench.LieConstant, Size: -1.5},
		"half of them":   {Kind: bench.LieShare, Share: 0.5, Size: -1.4},
		"over one place": {Kind: bench.LieConstant, Size: -0.9, Where: &bench.Disc{U: 172.5, V: 117.5, R: 20}},
		"a ramp":         {Kind: bench.LieRamp, Size: -0.4},
	} {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T, dir string) {
				s := onStage(t, dir, lookup(t, "healthy"), 2, smaller)
				defer s.close()
				told := false
				s.hand.Seen = func(r api.Run) {
					if r.Gaugings >= 2 && !told {
						told = true
						s.printer.Tell(&lie)
					}
				}
				run, err := s.hand.Measure(t.Context(), "repeat", "gauging", "survey")
				if err != nil {
					t.Logf("the person: %v", err)
				}
				if !run.State.Over() {
					_, _ = s.api.Stop(t.Context())
					run = s.until(t, run.ID, func(api.Run) bool { return false })
				}
				a, err := s.api.Analysis(t.Context(), run.ID)
				if err != nil {
					t.Fatal(err)
				}
				for _, f := range a.Findings {
					switch f.ID {
					case "repair", "beam-twist", "beam-pitch", "head-tilt", "bed-roll", "bed-pitch":
						t.Errorf("%s is found of a sound machine: %s", f.ID, run.Sentence)
					}
				}
			})
		})
	}
}

// TestCodesAreDescribed: the machine refuses to go up after an absence; the press of
// next is answered with a code that the description of the interface lists.
func TestCodesAreDescribed(t *testing.T) {
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, lookup(t, "twist-level"), 2, func(c *config.Settings) { c.Clearance = 8 })
		defer s.close()
		run := s.confirmed(t, "gauging")
		run = s.until(t, run.ID, inState(api.AwaitingGauge))
		time.Sleep(6 * time.Minute)
		for k := range 9 {
			s.printer.Inject(bench.Fault{Name: "refused", When: fmt.Sprintf("G1:%d", k+1)})
		}
		_, err := s.api.Gauge(t.Context(), run.ID, api.GaugeAction{Action: "next"})
		t.Log(err)
		run = s.until(t, run.ID, func(r api.Run) bool { return r.State != api.Running })
		t.Logf("%s: %+v", run.State, run.Error)
	})
}

// TestIdleIsOwedAndSaid: the printer gives no answer any more, so that the idle
// switch-off that the run held off cannot be put back. It is said as long as it
// stands at four hours.
func TestIdleIsOwedAndSaid(t *testing.T) {
	sc := lookup(t, "twist-level")
	sc.LevelledStart = false // nothing else is switched
	inBubble(t, func(t *testing.T, dir string) {
		s := onStage(t, dir, sc, 2)
		defer s.close()
		before := s.printer.Safety().Idle
		s.printer.Mute("G30:3", 60)
		run := s.confirmed(t, "repeat")
		if run = s.until(t, run.ID, func(api.Run) bool { return false }); run.State != api.Failed {
			t.Fatalf("the run %s", run.State)
		}
		time.Sleep(3 * time.Minute)
		ready(t, s.world)
		if is := s.printer.Safety().Idle; is != before && !s.owes(t, "idle") {
			t.Errorf("the idle switch-off was %v s before the run, is %v s, and not owed", before, is)
		}
	})
}

// TestHeightIsAskedAfterTheLevellingIsSwitched: homing switches the levelling on, the
// run switches it off: the height that the printer tells is then another, and the next
// travel is at clearance by the new one.
func TestHeightIsAskedAfterTheLevellingIsSwitched(t *testing.T) {
	sc := lookup(t, "twist-level")
	sc.LevelledStart, sc.HomeLevelsOn = false, true
	for _, slope := range []float64{-2e-3, 2e-3} {
		sc.Tilt = [2]float64{0, slope}
		inBubble(t, func(t *testing.T, dir string) {
			s := onStage(t, dir, sc, 2, func(c *config.Settings) { c.Clearance = 9 })
			defer s.close()
			run := s.confirmed(t, "repeat")
			s.until(t, run.ID, func(r api.Run) bool { return r.Touches > 2 })
			s.sound(t)
			_, _ = s.api.Stop(t.Context())
		})
	}
}
