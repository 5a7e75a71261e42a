package record

import (
	"errors"
	"fmt"
	"math"
)

// What no machine on a desk comes near, and a file that somebody else made may
// hold: lengths and heights, mm; nodes of a map along one axis; seconds of a run.
// Common practice, no source.
const (
	farthest  = 5000
	mostNodes = 200
	longest   = 90 * 24 * 3600
)

// ErrBounds says that a record holds what no printer on a desk can be or do.
var ErrBounds = errors.New("record: no printer on a desk")

// bounded returns ErrBounds if an event cannot be of a real run. What is drawn,
// fitted and listed grows with these numbers.
func (e Event) bounded() error {
	lengths := map[string]float64{}
	switch {
	case e.Opened != nil:
		lengths = e.Opened.Setup.lengths()
	case e.Touch != nil:
		lengths = map[string]float64{"x": e.Touch.Place.U, "y": e.Touch.Place.V, "z": e.Touch.Z, "step": e.Touch.Step}
	case e.Gauging != nil:
		g := e.Gauging
		lengths = map[string]float64{"x": g.Place.U, "y": g.Place.V, "z": g.Z, "blade": g.Blade, "predicted": g.Predicted, "step": g.Step}
	case e.Reading != nil:
		r := e.Reading
		lengths = map[string]float64{"x": r.Place.U, "y": r.Place.V, "value": r.Value, "u": r.U}
	case e.Joined != nil:
		lengths = e.Joined.lengths()
		if len(e.Joined.Gaps) > mostGaps {
			return fmt.Errorf("%w: event %d: %d readings of another run", ErrBounds, e.N, len(e.Joined.Gaps))
		}
	case e.Map != nil:
		if err := e.Map.bounded(); err != nil {
			return fmt.Errorf("%w: event %d: %w", ErrBounds, e.N, err)
		}
	}
	if !(math.Abs(e.T) <= longest) {
		return fmt.Errorf("%w: event %d: %g s since the run began", ErrBounds, e.N, e.T)
	}
	for name, v := range lengths {
		if !(math.Abs(v) <= farthest) {
			return fmt.Errorf("%w: event %d: %s %g", ErrBounds, e.N, name, v)
		}
	}
	return nil
}

// lengths are the setup's lengths and heights by name, mm.
func (s Setup) lengths() map[string]float64 {
	out := map[string]float64{
		"lever x": s.Lever.X, "lever y": s.Lever.Y, "trigger": s.Trigger, "clearance": s.Clearance, "zero x": s.Zero.U, "zero y": s.Zero.V,
		"travel z0": s.Travel.Z0, "travel z1": s.Travel.Z1, "report step": s.ReportStep,
		"gauged margin": s.Criteria.GaugedMargin, "node reach": s.Criteria.NodeReach, "wheel": s.Criteria.WheelMost,
	}
	rects := map[string]Rect{"bed": s.Bed, "travel": s.Travel.Rect, "reach": s.Reach}
	if s.MapArea != nil {
		rects["map area"] = *s.MapArea
	}
	for name, r := range rects {
		out[name+" x0"], out[name+" x1"], out[name+" y0"], out[name+" y1"] = r.X0, r.X1, r.Y0, r.Y1
	}
	return out
}

func (m Map) bounded() error {
	if len(m.Nodes) > mostNodes {
		return fmt.Errorf("a map of %d rows", len(m.Nodes))
	}
	for _, row := range m.Nodes {
		if len(row) != len(m.Nodes[0]) {
			return errors.New("a map with rows of unlike lengths")
		}
		if len(row) > mostNodes {
			return fmt.Errorf("a map of %d columns", len(row))
		}
		for _, v := range row {
			if v < -farthest*1000 || v > farthest*1000 {
				return fmt.Errorf("a node of %d micrometres", v)
			}
		}
	}
	return nil
}

// CheckBounds returns ErrBounds if a run that was read whole holds what no event of
// a real run does.
func CheckBounds(r Run) error {
	events := []Event{{Opened: &Opened{Setup: r.Setup}, T: r.T}}
	for i := range r.Touches {
		events = append(events, Event{N: r.Touches[i].N, T: r.Touches[i].T, Touch: &r.Touches[i]})
	}
	for i := range r.Gaugings {
		events = append(events, Event{N: r.Gaugings[i].N, T: r.Gaugings[i].T, Gauging: &r.Gaugings[i]})
	}
	for i := range r.Readings {
		events = append(events, Event{N: r.Readings[i].N, T: r.Readings[i].T, Reading: &r.Readings[i]})
	}
	for i := range r.Joined {
		events = append(events, Event{N: r.Joined[i].N, Joined: &r.Joined[i]})
	}
	if r.Map != nil {
		events = append(events, Event{N: r.Map.N, T: r.Map.T, Map: r.Map})
	}
	for _, e := range events {
		if err := e.bounded(); err != nil {
			return err
		}
	}
	return nil
}
