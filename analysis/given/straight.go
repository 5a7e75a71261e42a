package given

import (
	"fmt"
	"math"

	"abbed/analysis/steady"
	"abbed/probe/record"
)

// Lay makes touches along a straight reference part of a run: thickness and
// straight of the reference as in record.Reference, mm, its line and its ends from
// the touches (x, y and z of the probe, mm; Pass counts the passes). Each pass may
// have a height of its own (drift, another homing), but all lie on the reference:
// nearer to its thickness than to the bed. Five places or more along X, all passed
// twice, are wanted. Errors wrap ErrReadings.
func Lay(touches []record.Touch, thickness, straight float64) (record.Reference, []record.Touch, error) {
	var r record.Reference
	refuse := func(format string, args ...any) (record.Reference, []record.Touch, error) {
		return r, nil, fmt.Errorf("lay a reference: %w: %s", ErrReadings, fmt.Sprintf(format, args...))
	}
	if !(thickness >= 1 && thickness <= 100) {
		return refuse("a thickness of %g mm cannot be right; give that of the bar, 1 to 100 mm", thickness)
	}
	if !(straight > 0 && straight <= 0.5) {
		return refuse("%g mm is no zone of straightness; give what its grade allows over its length (DIN 876)", straight)
	}
	if len(touches) == 0 || len(touches) > mostReadings {
		return refuse("%d touches; give 10 to %d", len(touches), mostReadings)
	}
	var us []float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, t := range touches {
		us = append(us, t.Place.U)
		lo, hi = min(lo, t.Place.V), max(hi, t.Place.V)
		if !(math.Abs(t.Z-thickness) < math.Abs(t.Z)) {
			return refuse("%s, %g mm high, is nearer to the bed than to the reference of %g mm", t.Place, t.Z, thickness)
		}
	}
	if hi-lo > 5 {
		return refuse("the touches lie %g mm apart along Y; a reference lies along X", hi-lo)
	}
	at, col := steady.Cluster(us, 0.75)
	if len(at) < 5 {
		return refuse("%d places along X; five or more show a bend", len(at))
	}
	seen := map[[2]int]bool{}
	passes := map[int]int{}
	out := make([]record.Touch, len(touches))
	for i, t := range touches {
		if _, there := passes[t.Pass]; !there {
			passes[t.Pass] = len(passes)
		}
		t.Pass, t.Series, t.Spot, t.Index = passes[t.Pass], record.SeriesReference, -1, col[i]
		seen[[2]int{t.Pass, col[i]}] = true
		out[i] = t
	}
	if len(passes) < 2 || len(seen) < 2*len(at) {
		return refuse("%d passes over %d places; pass every place twice, and count the passes in the column repeat", len(passes), len(at))
	}
	r = record.Reference{Y: (lo + hi) / 2, X0: at[0], X1: at[len(at)-1], Thickness: thickness, Straight: straight}
	return r, out, nil
}
