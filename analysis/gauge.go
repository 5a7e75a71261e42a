package analysis

import (
	"math"

	"abbed/probe/record"
)

// gauged is what the gaugings tell.
type gauged struct {
	obs     observations
	support support
	surface surface
	model   Model
	gap     *Gap
	why     *Reason
	level   *Measured

	candidates []candidate

	// joined names the readings that joined the fit, refused says why others
	// did not; alone is the fit of the gaugings without them.
	joined, refused []string
	alone           surface
	later           []Later
}

// gauge fits the gap error. The reason says why there is none.
func gauge(run record.Run, s steadiness, prof, mach *Profile) gauged {
	c := run.Setup.Criteria
	if run.Setup.NoLever() {
		return leverless(run)
	}
	all, oddTouches := pairs(run, s)
	ps := keep(all, func(p Paired) bool { return p.Touches > 0 })
	var g gauged
	g.model.Outliers = oddTouches
	if len(ps) == 0 {
		g.why = &Reason{"no-gauging", "nothing was gauged, and a map alone cannot tell bed from beam", "run the step gauging: the nozzle on a feeler gauge at the places that the program names"}
		return g
	}
	g.obs = observe(ps, c)
	g.support = supportOf(ps, prof)
	g.support.again = g.obs.again()
	f := newFrame(placesOf(ps), prof)
	candidates := g.support.candidates()
	if mach != nil || len(run.Readings) > 0 || len(run.Joined) > 0 {
		if sf, ok := average(g.obs, candidates, f); ok {
			g.alone = sf
			g.join(run, sf)
			g.joinLater(run, sf)
			f = newFrame(g.obs.area(), prof)
		}
		f.mach, g.support.machine = mach, mach != nil && mach.Significant
		candidates = g.support.candidates()
	}
	g.candidates = candidates
	sf, ok := average(g.obs, candidates, f)
	if ok {
		g.obs, sf = g.withoutOutliers(candidates, f, sf)
		if g.obs.shaky() {
			sf, ok = average(g.obs, candidates, f)
		}
	}
	g.surface = sf
	g.surface.blades = bladeDoubt(run, c)
	if ok {
		g.report()
		g.setLevel(run, c)
	}
	if g.why = g.whyNot(run, ok); g.why == nil {
		g.gap = &Gap{Zero: run.Setup.Zero, Area: g.obs.area(), Margin: c.GaugedMargin, surface: g.surface, steep: c.Steepest / 10}
	}
	return g
}

// leverless is the gap error of a probe that is the nozzle: 0 by construction.
// Its doubt: 0.5 mm of lever that nobody sees (record.Lever.None) times the
// twist of 0.75 deg that a 20 x 20 profile within ANSI H35.2 may have over
// 250 mm (design/4).
func leverless(run record.Run) gauged {
	area := run.Setup.Reach
	if !area.Valid() {
		area = run.Setup.Bed
	}
	g := gauged{}
	g.gap = &Gap{Zero: run.Setup.Zero, Area: area, Margin: run.Setup.Criteria.GaugedMargin,
		surface: surface{fixed: 0.5 * math.Sin(0.75*math.Pi/180)}, steep: run.Setup.Criteria.Steepest / 10}
	return g
}

func placesOf(ps []Paired) record.Rect {
	var places []record.Place
	for _, p := range ps {
		places = append(places, p.Place)
	}
	return record.Bound(places)
}

// bladeDoubt is the variance that contrasts keep where gaugings were made with
// several blades: their thicknesses no longer cancel.
func bladeDoubt(run record.Run, c record.Criteria) float64 {
	for _, g := range run.Gaugings {
		if math.Abs(g.Blade-run.Gaugings[0].Blade) > 1e-6 {
			return 2 * c.GaugeU * c.GaugeU
		}
	}
	return 0
}

// setLevel sets how far the person's Z offset is off: the raw gap error at the
// zero place. The blade's own uncertainty does not cancel here.
func (g *gauged) setLevel(run record.Run, c record.Criteria) {
	zero := run.Setup.Zero
	if !placesOf(g.obs.pairs).Grown(c.GaugedMargin).Has(zero) {
		return
	}
	v, u, dof := g.surface.raw(zero)
	m := measured(v, math.Hypot(u, c.GaugeU), math.Max(dof, 1), "mm")
	g.level = &m
}
