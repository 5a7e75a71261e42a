package probe

import (
	"context"
	"math"

	"abbed/analysis"
	"abbed/gcode"
	"abbed/probe/record"
)

// phaseLeave ends a visit; it is never shown.
const phaseLeave Phase = "leave"

// act carries out one action and returns the phase that follows. A Refused
// leaves everything as it was, unless it is also a cut.
func (g *gauging) act(ctx context.Context, phase Phase, a Action) (Phase, error) {
	do := map[string]func(context.Context, Action) (Phase, error){
		"lower": g.lower, "raise": g.raise, "record": g.record, "skip": g.skipped,
	}
	switch {
	case a.Do == "forget":
		return phase, g.forget(phase)
	case a.Do == "next" && phase == PhaseNext:
		return phaseLeave, g.pressed(a.Do, 0)
	case do[a.Do] != nil && phase == PhaseGauge:
		next, err := do[a.Do](ctx, a)
		if err != nil {
			return phase, err
		}
		return next, nil
	case do[a.Do] == nil && a.Do != "next":
		return phase, refuse("bad-value", "lower, raise, record, skip, next or forget", "gauge: no action %q", a.Do)
	case phase == PhaseGauge:
		return phase, refuse("wrong-state", "record or skip this place first", "gauge: next while the nozzle is down")
	}
	return phase, refuse("wrong-state", "press next when hand and blade are out", "gauge: %s while the nozzle is up", a.Do)
}

// leastStep is the smallest step, mm: heights go out in thousandths, and a smaller one
// would move nothing.
const leastStep = 0.001

func amount(a Action) (float64, error) {
	if a.MM == nil || math.IsNaN(*a.MM) || math.IsInf(*a.MM, 0) {
		return 0, refuse("bad-value", "give mm, 0.001 or more", "%s: by how much is not said", a.Do)
	}
	if *a.MM < leastStep-1e-9 {
		return 0, refuse("bad-value", "give mm, 0.001 or more", "%s by %g mm: that moves nothing", a.Do, *a.MM)
	}
	return *a.MM, nil
}

func (g *gauging) lower(ctx context.Context, a Action) (Phase, error) {
	mm, err := amount(a)
	if err != nil {
		return "", err
	}
	if most := g.way.maxStep(g.z, g.blade); mm > most+1e-9 {
		return "", refuse("step-too-large", "ask for max_step or less",
			"lower by %.3f mm: at this height at most %.3f mm", mm, most)
	}
	z := round(g.z - mm)
	if z < g.way.floor-1e-9 {
		if g.z-g.way.floor <= finest {
			return "", g.bottom(ctx)
		}
		return "", pastFloor(z, g.way.floor)
	}
	if err := g.head.check(ctx); err != nil {
		return "", err // somebody else moved it: a step from here is not the step that was asked
	}
	if err := g.head.Lower(ctx, z, g.way.floor); err != nil {
		return "", err
	}
	g.z, g.lowered, g.step = z, true, mm
	g.presses++
	return PhaseGauge, g.pressed(a.Do, mm)
}

// bottom ends the run: the blade is still loose at the floor.
func (g *gauging) bottom(ctx context.Context) error {
	if err := g.up(ctx); err != nil {
		return err
	}
	cut := record.Cut{Finding: analysis.Repair, Code: "past-floor",
		Text: "At " + g.place.String() + " the nozzle is still clear of the blade at the floor: the head tilts more there than a correction may take up.",
		Next: "Look for a twisted or misaligned beam, and repair it; then measure again."}
	if g.proof != nil {
		cut = notProved(g.place, "below", floorBelow)
	} else if g.spot > 0 && g.before() {
		cut = record.Cut{Finding: analysis.Undetermined, Code: "return-past-floor",
			Text: "At " + g.place.String() + ", which was gauged before, the nozzle is still clear of the blade below where it met the bed then: the probe's trigger point or the machine has moved since.",
			Next: "Look whether probe and nozzle sit tight, let the printer warm up, then measure again."}
	} else if g.spot == 0 {
		cut = record.Cut{Finding: analysis.Undetermined, Code: "zero-past-floor",
			Text: "At the zero place the nozzle is still clear of the blade half a millimetre below where the bed is expected.",
			Next: "Set the printer's Z offset again at this place, then measure again."}
	}
	return &CutError{cut}
}

func (g *gauging) raise(ctx context.Context, a Action) (Phase, error) {
	mm, err := amount(a)
	if err != nil {
		return "", err
	}
	z := round(g.z + mm)
	if most := max(g.setup.Clearance, g.way.arrival); z > most {
		return "", refuse("too-high", "raise by less, or skip the place", "raise to %.3f mm: above %.3f mm, where travel begins", z, most)
	}
	if err := g.head.check(ctx); err != nil {
		return "", err
	}
	if err := g.head.Lower(ctx, z, g.way.floor); err != nil {
		return "", err
	}
	g.z, g.step = z, 0
	return PhaseGauge, g.pressed(a.Do, mm)
}

func (g *gauging) record(ctx context.Context, a Action) (Phase, error) {
	if a.Blade != nil && !(math.Abs(*a.Blade-g.blade) < 0.0005) {
		return "", refuse("other-blade", "use the blade that was confirmed, or start a new run with this one",
			"record: a blade of %.3f mm, but %.3f mm was confirmed", *a.Blade, g.blade)
	}
	if !g.lowered {
		return "", refuse("lower-first", "lower until the blade just drags, then record", "record: the nozzle was not lowered since it arrived")
	}
	// The reading counts in the state that it was made in, and the printer is asked.
	if err := g.head.showsLevelling(ctx, gcode.Reply{}); err != nil {
		return "", err
	}
	err := g.keep(record.Event{Gauging: &record.Gauging{
		Spot: g.spot, Place: g.place, Visit: g.visit, Z: g.z, Blade: g.blade,
		Predicted: g.way.predicted, Presses: g.presses, Step: g.step, Levelled: *g.head.levelling,
	}})
	if err != nil {
		return "", err
	}
	if err := g.up(ctx); err != nil {
		return "", err
	}
	g.view.Forecast = Foresee(g.log.Run(), g.job.plan)
	return PhaseNext, g.tooFar()
}

// tooFar is a cut if the gap error recorded last is beyond the largest
// correction.
func (g *gauging) tooFar() error {
	if g.proof != nil {
		return nil
	}
	for _, p := range g.head.told.gauged(g.log.Run()) {
		if p.place.Distance(g.place) > 1 || g.spot == 0 || math.Abs(p.g) <= g.setup.Criteria.Largest {
			continue
		}
		way := "too high"
		if p.g < 0 {
			way = "too low"
		}
		return &CutError{record.Cut{Finding: analysis.Repair, Code: "gap-too-large",
			Text: g.place.String() + ": the nozzle is " + mm(math.Abs(p.g)) + " " + way + " there, more than a correction may take up (" + mm(g.setup.Criteria.Largest) + ").",
			Next: "Look for a twisted or misaligned beam, and repair it; then measure again."}}
	}
	return nil
}

// skipped ends the visit: the place gets no more records.
func (g *gauging) skipped(ctx context.Context, _ Action) (Phase, error) {
	if g.spot == 0 && g.count() == 0 && g.proof == nil {
		return "", refuse("zero-needed", "gauge the zero place, or stop the run", "skip: everything is measured against the zero place")
	}
	g.skip = true
	if err := g.up(ctx); err != nil {
		return "", err
	}
	return PhaseNext, g.pressed("skip", 0)
}

// forget takes back the last record of this place. While the nozzle is down, what
// was foretold from that record is forgotten with it.
func (g *gauging) forget(phase Phase) error {
	here := g.here()
	if len(here) == 0 {
		return refuse("nothing-to-forget", "record first", "forget: no record at this place")
	}
	g.skip = false
	if err := g.keep(record.Event{Forgot: &record.Forgot{Gauging: here[len(here)-1].N}}); err != nil {
		return err
	}
	g.view.Forecast = Foresee(g.log.Run(), g.job.plan)
	if phase == PhaseGauge {
		g.way = g.foretell()
	}
	return nil
}

func (g *gauging) pressed(do string, mm float64) error {
	return g.keep(record.Event{Pressed: &record.Pressed{Action: do, MM: mm, Z: g.z}})
}
