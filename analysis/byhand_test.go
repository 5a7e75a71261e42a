package analysis_test

import (
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/analysis/steady"
	"abbed/analysis/workshop"
)

// TestByHand: whoever has wheels that are worn, or play, reads where to look and
// what to do (workshop's advice), and before all of it what to switch off.
func TestByHand(t *testing.T) {
	first := []string{"switch off, unplug", "cool below 43 °C", "maker's instructions"}
	worn := drawn(3)["flats that slip"].m
	for name, c := range map[string]struct {
		m     machine
		id    string
		words []string
		not   string
	}{
		"wheels": {worn, analysis.WornWheels, []string{"Push the head slowly by hand", "flats", "eccentric nuts", "Replace", "bearings", "belt"}, "rock the head"},
		"play along X": {playing(0.04, 0), analysis.LooseCarriage,
			[]string{"rock the head", "eccentric nuts", "nozzle's holder", "probe's bracket", "joints of the beam", "belt", "Replace"}, "the bed at each corner"},
		"play along Y": {playing(0, 0.04), analysis.LooseCarriage, []string{"rock the head", "the bed at each corner", "belt"}, "joints of the beam"},
	} {
		p := standard()
		p.places, p.survey = nil, false
		run := simulate(c.m, p, 4)
		s := steady.Steady(run)
		f, failed := s.Failed()
		if !failed || f.ID != c.id {
			t.Errorf("%s: finding %q, failed %t", name, f.ID, failed)
			continue
		}
		if !strings.Contains(f.Next, "Switch off, unplug") {
			t.Errorf("%s: what to switch off does not come first: %q", name, f.Next)
		}
		cautions := strings.Join(workshop.Cautions(), " ")
		advice := workshop.Wheels()
		if axis, play := s.Play(run.Setup.Criteria); play != nil {
			advice = workshop.Play(axis)
		}
		work := strings.Join(advice.Steps, " ")
		for _, w := range first {
			if !strings.Contains(cautions, w) {
				t.Errorf("%q is no caution: %q", w, cautions)
			}
		}
		for _, w := range c.words {
			if !strings.Contains(work, w) {
				t.Errorf("%s: %q is not said in %q", name, w, work)
			}
		}
		if strings.Contains(work, c.not) {
			t.Errorf("%s: %q is said in %q", name, c.not, work)
		}
		if !strings.HasSuffix(work, "run the repeat test again.") || !strings.HasSuffix(f.Next, "then measure again.") {
			t.Errorf("%s: it does not end with measuring again: %q, %q", name, f.Next, work)
		}
	}
}

func playing(x, y float64) machine {
	m := good()
	m.play = [2]float64{x, y}
	return m
}
