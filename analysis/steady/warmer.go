package steady

import (
	"fmt"
	"math"

	"abbed/analysis/result"
	"abbed/probe/record"
)

// HeatChange compares how warm two runs were, K and degrees C.
type HeatChange struct {
	// Nozzle and Bed are the means of the readings in either run, NozzleBy and
	// BedBy by how much the later run was warmer.
	NozzleBefore float64 `json:"nozzle_before"`
	NozzleAfter  float64 `json:"nozzle_after"`
	NozzleBy     float64 `json:"nozzle_by" about:"K"`
	BedBefore    float64 `json:"bed_before"`
	BedAfter     float64 `json:"bed_after"`
	BedBy        float64 `json:"bed_by" about:"K"`
	// Apart says that it is cold against hot: 10 K or more at bed or nozzle.
	Apart bool `json:"apart" about:"10 K or more: cold against hot"`
	// Even is the largest change of the gap error that an even expansion of lever
	// and machine alone would make, mm; RailLeast and RailMost by how much a steel
	// rail and an aluminium beam of the gauged width would come to differ in
	// length, mm, were the beam as much warmer as the bed.
	Even      float64 `json:"-"`
	RailLeast float64 `json:"-"`
	RailMost  float64 `json:"-"`
	Text      string  `json:"text" about:"with what expansion alone would make"`
}

// Expansion per K: aluminium profile 23.4e-6, steel 11e-6 to 13e-6 (vendors'
// tables; read).
const (
	aluminium  = 23.4e-6
	steelLeast = 11e-6
	steelMost  = 13e-6
)

// Hotter is from how many K on two runs are cold against hot.
const Hotter = 10

// WarmthOf returns the mean temperatures of a run: of the readings at the gauging
// if there are any, else of all. ok is false if the printer never said them.
func WarmthOf(run record.Run) (w record.Warmth, ok bool) {
	var of []record.Warmth
	for _, x := range run.Warmth {
		if x.Step == record.StepGauging {
			of = append(of, x)
		}
	}
	if of == nil {
		of = run.Warmth
	}
	n := float64(len(of))
	for _, x := range of {
		if !result.Tame(x.Nozzle, x.Bed, x.NozzleTarget, x.BedTarget) {
			return w, false
		}
		w.Nozzle, w.Bed = w.Nozzle+x.Nozzle/n, w.Bed+x.Bed/n
		w.NozzleTarget, w.BedTarget = math.Max(w.NozzleTarget, x.NozzleTarget), math.Max(w.BedTarget, x.BedTarget)
	}
	return w, len(of) > 0
}

// Heat compares the temperatures; nil where a run does not know its own.
func Heat(before, after record.Run) *HeatChange {
	a, okA := WarmthOf(before)
	b, okB := WarmthOf(after)
	if !okA || !okB {
		return nil
	}
	h := &HeatChange{NozzleBefore: a.Nozzle, NozzleAfter: b.Nozzle, NozzleBy: b.Nozzle - a.Nozzle, BedBefore: a.Bed, BedAfter: b.Bed, BedBy: b.Bed - a.Bed}
	h.Apart = math.Abs(h.BedBy) >= Hotter || math.Abs(h.NozzleBy) >= Hotter
	h.Text = fmt.Sprintf("Bed %.0f °C, then %.0f °C (%+.0f K). Nozzle %.0f °C, then %.0f °C (%+.0f K).", h.BedBefore, h.BedAfter, h.BedBy, h.NozzleBefore, h.NozzleAfter, h.NozzleBy)
	return h
}

// Expand says what expansion alone would make, for a gap error of the given
// largest size over a width, both mm.
func (h *HeatChange) Expand(gap, width float64) {
	if !h.Apart {
		return
	}
	k := math.Abs(h.BedBy)
	h.Even = aluminium * k * math.Abs(gap)
	h.RailLeast, h.RailMost = (aluminium-steelMost)*k*width, (aluminium-steelLeast)*k*width
	h.Text += fmt.Sprintf(" Even expansion changes the nozzle error by less than %.4f mm. What changed beyond that is something that bends. Steel on aluminium as warm as the bed differs by %.2f to %.2f mm over %.0f mm.",
		1000*math.Max(h.Even, 0.0001), 1000*h.RailLeast, 1000*h.RailMost, width)
}
