package probe

import (
	"context"
	"math"

	"abbed/analysis"
	"abbed/probe/record"
)

// at visits one place until it has its records or the person skips it.
func (g *gauging) at(ctx context.Context, p record.Place) error {
	g.place, g.skip, g.detour = p, false, false
	for g.visit = 0; ; g.visit++ {
		if ok, err := g.touches(ctx); err != nil || !ok {
			return err
		}
		g.wanted = g.records() // what was recorded here may ask for one more
		g.meter.of = max(g.meter.of, len(g.log.Run().Gaugings)+g.wanted-g.count())
		if g.skip || g.count() >= g.wanted {
			return nil
		}
		if err := g.arrive(ctx); err != nil {
			return err
		}
		if err := g.byHand(ctx); err != nil {
			return err
		}
		if g.detour {
			return nil
		}
		if g.skip && g.count() == 0 {
			g.pass()
			return nil
		}
	}
}

// pass gives the place up.
func (g *gauging) pass() {
	g.route.skipped = append(g.route.skipped, g.place)
	g.skippedBack = g.skippedBack || g.spot > 0 && g.place.Distance(g.setup.Zero) < 1
}

// touches makes the paired touches that stand before this visit, and after the one
// before. ok is false where they cannot be believed: the place is left, and a reading
// that only those before it confirm is taken back.
func (g *gauging) touches(ctx context.Context) (ok bool, err error) {
	if g.proof != nil {
		return true, nil // with the levelling on a touch says nothing of the nozzle
	}
	for k := 0; k < g.plan.Pairs || k < g.plan.Pairs+strayTries && !agree(g.made()); k++ {
		what := record.Touch{Series: record.SeriesPair, Pass: g.visit, Index: k, Spot: g.spot}
		if ok, err = g.believed(ctx, g.place, record.Side{X: -1}, what); err != nil {
			return false, err
		}
		if !ok {
			return false, g.takeBack()
		}
	}
	if agree(g.made()) {
		return true, nil
	}
	if err := g.leave(g.place); err != nil {
		return false, err
	}
	return false, g.takeBack()
}

// takeBack takes the last reading of a place that is left back, and gives the place up.
func (g *gauging) takeBack() error {
	g.pass()
	here := g.here()
	switch {
	case len(here) > 0:
		return g.keep(record.Event{Forgot: &record.Forgot{Gauging: here[len(here)-1].N}})
	case g.spot == 0:
		return wild("At the zero point the probe's touches do not agree with each other.")
	}
	return nil
}

// made returns the heights of the touches just made, mm.
func (g *gauging) made() []float64 {
	var zs []float64
	for _, t := range g.log.Run().Of(record.SeriesPair) {
		if t.Spot == g.spot && t.Pass == g.visit {
			zs = append(zs, t.Z)
		}
	}
	return zs
}

// touched is the height of the touches just made, mm: their median, which is their
// mean where there are two.
func (g *gauging) touched() float64 { return median(g.made()) }

// here returns the records of this place.
func (g *gauging) here() []record.Gauging {
	var out []record.Gauging
	for _, r := range g.log.Run().Gaugings {
		if r.Spot == g.spot {
			out = append(out, r)
		}
	}
	return out
}

func (g *gauging) count() int { return len(g.here()) }

// arrive hangs the nozzle over the place and keeps what is predicted there.
func (g *gauging) arrive(ctx context.Context) error {
	g.way = g.foretell()
	if err := g.head.Travel(ctx, g.place.Under()); err != nil {
		return err
	}
	if g.way.floor < g.setup.Travel.Z0 {
		if err := g.head.Switch(ctx, record.SwitchLimits, false); err != nil {
			return err
		}
	}
	z := round(g.way.arrival)
	if err := g.head.Lower(ctx, z, g.way.floor); err != nil {
		return err
	}
	g.d, g.presses = g.way.descent(z, g.blade), 0
	return g.keep(record.Event{Arrived: &record.Arrived{
		Spot: g.spot, Visit: g.visit, Place: g.place, Z: z, Predicted: g.way.predicted, Floor: g.way.floor,
	}})
}

// foretell returns the approach to the place in hand as the records stand now, with
// its floor bound by what is known without the touches just made.
func (g *gauging) foretell() approachTo {
	way := g.byTouches()
	if g.proof == nil {
		if g.homings != g.head.homings {
			// A homing may err as its probe does, and no touch tells: as wide as the first.
			wide := first(g.touched(), g.blade, g.setup.Lever)
			way.arrival, way.doubt, way.sure = max(way.arrival, wide.arrival), 0, false
		}
		way = way.above(lowest(contacts(g.log.Run()), g.place, g.setup.Travel.Z0))
	}
	return way
}

// byTouches is the approach as the touches of the place in hand and the records tell it.
func (g *gauging) byTouches() approachTo {
	run := g.log.Run()
	gs := g.head.told.gauged(run)
	switch {
	case g.proof != nil:
		return proving(*g.proof, g.blade)
	case len(gs) == 0:
		return first(g.touched(), g.blade, g.setup.Lever)
	}
	if there := nearest(gs, g.place); there.place.Distance(g.place) < 1 {
		floor := floorBelow
		if g.place.Distance(g.setup.Zero) < 1 {
			floor = floorAtZero
		}
		return back(g.touched(), there.raw, g.recorded(), g.blade, floor)
	}
	if raw, u, ok := g.expected(run, len(gs)); ok {
		way := byModel(g.touched(), raw, u, g.blade, nearest(gs, g.place).place.Distance(g.place))
		return way.beside(expect(contacts(run), g.place), g.blade)
	}
	return early(g.touched(), g.blade, g.place, gs, contacts(run))
}

// modelFrom is how many points are gauged before the model says where the gauge drags
// (the project's safety rule 5).
const modelFrom = 3

// expected is the raw gap error that the model expects at the place in hand, mm, with its
// standard uncertainty, the touches' among it.
func (g *gauging) expected(run record.Run, gauged int) (raw, u float64, ok bool) {
	if gauged < modelFrom {
		return 0, 0, false
	}
	return analysis.RawAt(run, g.place)
}

// recorded is the bed contact that was recorded last at the place in hand.
func (g *gauging) recorded() float64 {
	z := math.Inf(-1)
	for _, r := range g.log.Run().Gaugings {
		if r.Place.Distance(g.place) < 1 {
			z = r.Z - r.Blade
		}
	}
	return z
}

// round gives heights the step in which printers take them, 0.001 mm.
func round(z float64) float64 { return math.Round(z*1000) / 1000 }
