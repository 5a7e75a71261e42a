package probe

import (
	"cmp"
	"context"
	"math"
	"slices"

	"abbed/analysis"
	"abbed/config/say"
	"abbed/gcode"
	"abbed/probe/record"
)

// phaseLeave ends a visit; it is never shown.
const phaseLeave Phase = "leave"

// act carries out one action and returns the phase that follows. A Refused that is no
// cut leaves the run in that phase, and nothing has been read.
func (g *gauging) act(ctx context.Context, phase Phase, a Action) (Phase, error) {
	do := map[string]func(context.Context) (Phase, error){
		"loose": g.loose, "drags": g.drags, "tight": g.tight, "skip": g.skipped,
	}
	switch {
	case a.Do == "forget":
		return phase, g.forget()
	case a.Do == "next" && phase == PhaseNext:
		return phaseLeave, g.pressed(a.Do, 0)
	case do[a.Do] != nil && phase == PhaseGauge:
		return do[a.Do](ctx)
	case do[a.Do] == nil && a.Do != "next":
		return phase, refuse("bad-value", "Say loose, drags, tight, skip, next or forget.", "gauge: no action %q", a.Do)
	case phase == PhaseGauge:
		return phase, refuse("wrong-state", "Answer loose, drags or tight, or skip this point.", "gauge: next while the nozzle is down")
	}
	return phase, refuse("wrong-state", "Press next when hand and gauge are out.", "gauge: %s while the nozzle is up", a.Do)
}

// loose takes the nozzle down by what the descent allows.
func (g *gauging) loose(ctx context.Context) (Phase, error) {
	z, ok := g.d.down()
	if !ok {
		return g.bottom(ctx)
	}
	if err := g.move(ctx, z); err != nil {
		return PhaseGauge, err
	}
	g.d.lowered(z)
	return PhaseGauge, g.pressed("loose", g.d.step)
}

// tight takes the nozzle up.
func (g *gauging) tight(ctx context.Context) (Phase, error) { return g.higher(ctx, "tight") }

// higher takes the nozzle up after an answer.
func (g *gauging) higher(ctx context.Context, answer string) (Phase, error) {
	z := g.d.up()
	if most := max(g.setup.Clearance, g.way.arrival); z > most {
		return PhaseGauge, refuse("too-high", "Skip this point, and look whether something lies on the bed there.", "%s at %.3f mm: higher than where the nozzle arrived", answer, g.d.z)
	}
	if err := g.move(ctx, z); err != nil {
		return PhaseGauge, err
	}
	g.d.raised(z)
	return PhaseGauge, g.pressed(answer, z-g.d.tight)
}

// move takes the nozzle to z, from where it was left: a step from elsewhere is not the
// step that was answered for.
func (g *gauging) move(ctx context.Context, z float64) error {
	if err := g.head.check(ctx); err != nil {
		return err
	}
	g.presses++
	return g.head.Lower(ctx, z, g.way.floor)
}

// bottom is loose at the floor. The prediction may be wrong because the way to here was
// long: a point half way is gauged first, and then this one again with what it taught.
// Only where that is no help is it a finding.
func (g *gauging) bottom(ctx context.Context) (Phase, error) {
	if err := g.up(ctx); err != nil {
		return PhaseGauge, err
	}
	if half, ok := g.halfWay(); ok {
		g.short = append(g.short, g.place)
		g.pending, g.detour = []record.Place{half, g.place}, true
		return PhaseNext, refuse("past-floor", "Press next when hand and gauge are out: a point half way comes first, then this one again.",
			"loose: the gauge is still loose at the floor of %.3f mm at %s", g.way.floor, g.place)
	}
	cut := record.Cut{Finding: analysis.Repair, Code: "past-floor",
		Text: "At " + g.place.String() + " the feeler gauge is still loose at the floor: the head tilts more there than a correction can take up.",
		Next: "Look for a twisted or misaligned beam and repair it, then measure again."}
	if g.proof != nil {
		cut = notProved(g.place, "below", floorBelow)
	} else if g.spot > 0 && g.before() {
		cut = record.Cut{Finding: analysis.Undetermined, Code: "return-past-floor",
			Text: "At " + g.place.String() + ", which was gauged before, the feeler gauge is still loose below where it dragged then: the probe's trigger point or the machine has moved since.",
			Next: "Look whether probe and nozzle sit tight, let the printer warm up, then measure again."}
	} else if g.spot == 0 {
		cut = record.Cut{Finding: analysis.Undetermined, Code: "zero-past-floor",
			Text: "The feeler gauge is still loose half a millimetre below the bed's expected height.",
			Next: "Set the printer's Z offset again at this point, then measure again."}
	}
	return PhaseNext, &CutError{cut}
}

// halfWay is the point between here and the nearest gauged one, if that may help: here
// is no point that fell short before, and the two are far enough apart.
func (g *gauging) halfWay() (record.Place, bool) {
	gs := g.head.told.gauged(g.log.Run())
	if g.proof != nil || len(gs) == 0 || g.before() || slices.ContainsFunc(g.short, func(p record.Place) bool { return p.Distance(g.place) < 1 }) {
		return record.Place{}, false
	}
	from := nearest(gs, g.place).place
	half := record.Place{U: (from.U + g.place.U) / 2, V: (from.V + g.place.V) / 2}
	return half, from.Distance(half) >= leastHop
}

// drags is a reading, if the nozzle came from above; else it goes up, to come down anew.
func (g *gauging) drags(ctx context.Context) (Phase, error) {
	if !g.d.fromAbove() {
		return g.higher(ctx, "drags")
	}
	// The reading counts in the state that it was made in, and the printer is asked.
	if err := g.head.showsLevelling(ctx, gcode.Reply{}); err != nil {
		return PhaseGauge, err
	}
	err := g.keep(record.Event{Gauging: &record.Gauging{
		Spot: g.spot, Place: g.place, Visit: g.visit, Z: g.d.z, Blade: g.blade,
		Predicted: g.way.predicted, Presses: g.presses, Step: g.d.step, Levelled: *g.head.levelling,
	}})
	if err != nil {
		return PhaseGauge, err
	}
	g.homings = g.head.homings
	g.view.Forecast = Foresee(g.log.Run(), g.job.plan)
	if err := g.tooFar(); err != nil {
		return PhaseNext, cmp.Or(g.up(ctx), err)
	}
	if g.wanted = g.records(); g.count() < g.wanted {
		over, z := g.d.again()
		g.presses = 0
		if err := g.head.Lower(ctx, over, g.way.floor); err != nil {
			return PhaseGauge, err
		}
		return PhaseGauge, g.head.Lower(ctx, z, g.way.floor)
	}
	return PhaseNext, g.up(ctx)
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
			Text: g.place.String() + ": the nozzle is " + say.MM(math.Abs(p.g)) + " " + way + " there, more than a correction may take up (" + say.MM(g.setup.Criteria.Largest) + ").",
			Next: "Look for a twisted or misaligned beam, and repair it. Then measure again."}}
	}
	return nil
}

// skipped ends the visit: the place gets no more records.
func (g *gauging) skipped(ctx context.Context) (Phase, error) {
	if g.spot == 0 && g.count() == 0 && g.proof == nil {
		return PhaseGauge, refuse("zero-needed", "Gauge the zero point, or stop the run.", "skip: everything is measured against the zero point")
	}
	g.skip = true
	if err := g.up(ctx); err != nil {
		return PhaseGauge, err
	}
	return PhaseNext, g.pressed("skip", 0)
}

// forget takes back the last record of this place. The nozzle stays where it is.
func (g *gauging) forget() error {
	here := g.here()
	if len(here) == 0 {
		return refuse("nothing-to-forget", "Answer drags first.", "forget: no reading at this point")
	}
	g.skip = false
	if err := g.keep(record.Event{Forgot: &record.Forgot{Gauging: here[len(here)-1].N}}); err != nil {
		return err
	}
	g.view.Forecast = Foresee(g.log.Run(), g.job.plan)
	return nil
}

func (g *gauging) pressed(do string, mm float64) error {
	return g.keep(record.Event{Pressed: &record.Pressed{Action: do, MM: mm, Z: g.d.z}})
}
