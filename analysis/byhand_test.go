package analysis_test

import (
	"strings"
	"testing"

	"abbed/analysis"
)

// TestByHand: whoever has wheels that are worn, or play, reads where to look and
// what to do, and before all of it what to switch off.
func TestByHand(t *testing.T) {
	first := []string{"switch off, unplug", "cool below 43 C", "maker's instructions"}
	worn := drawn(3)["flats that slip"].m
	for name, c := range map[string]struct {
		m     machine
		id    string
		words []string
	}{
		"wheels": {worn, analysis.WornWheels, []string{"by hand", "flats", "eccentric nuts", "Replace", "bearings", "belt"}},
		"play along X": {playing(0.04, 0), analysis.LooseCarriage,
			[]string{"rock the head", "eccentric nuts", "holder of the nozzle", "probe's bracket", "joints of the beam", "belt", "replaced"}},
		"play along Y": {playing(0, 0.04), analysis.LooseCarriage, []string{"rock the head", "rock the bed at each corner", "belt"}},
	} {
		p := standard()
		p.places, p.survey = nil, false
		f, failed := analysis.Steady(simulate(c.m, p, 4)).Failed()
		if !failed || f.ID != c.id {
			t.Errorf("%s: finding %q, failed %t", name, f.ID, failed)
			continue
		}
		at := -1
		for _, w := range append(first, c.words...) {
			i := strings.Index(f.Next, w)
			if i < 0 {
				t.Errorf("%s: %q is not said in %q", name, w, f.Next)
			}
			if w == first[2] {
				at = i
			}
		}
		if i := strings.Index(f.Next, c.words[0]); i < at {
			t.Errorf("%s: the cautions stand behind the work: %q", name, f.Next)
		}
		if !strings.HasSuffix(f.Next, "run the repeat test again.") {
			t.Errorf("%s: it does not end with measuring again: %q", name, f.Next)
		}
	}
}

func playing(x, y float64) machine {
	m := good()
	m.play = [2]float64{x, y}
	return m
}
