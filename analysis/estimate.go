package analysis

import (
	"math"

	"abbed/analysis/model"
	"abbed/analysis/plate"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// gauged is what the readings at the nozzle tell.
type gauged struct {
	run record.Run
	// pairs are the gaugings that touches stand beside, extra all other readings.
	pairs []steady.Paired
	extra []extra
	// map0 holds the survey, which is accumulated once; rough is what a touch counts.
	map0    model.Data
	rough   float64
	machine model.Machine
	profile *steady.Profile
	// restSize is the peak to valley of what the profile shows beyond the smooth
	// series, mm; 0 for none.
	restSize float64
	// slips are the pairs that are slips for certain.
	slips map[int]bool
	// wrong is how far the touches of a pair lie beside the bed around, mm.
	wrong map[int]float64

	surface surface
	model   Model
	gap     *Gap
	why     *record.Problem
	level   *result.Measured

	// refused says why readings beside the gaugings did not join; alone is the
	// posterior without any.
	refused []string
	alone   surface
	later   []Later
}

// gauge returns the posterior of the gap error; the reason says why it is none.
func gauge(run record.Run, s steady.Steadiness, sv *steady.Survey, prof *steady.Profile, w ways) gauged {
	g := gauged{run: run, profile: prof, slips: map[int]bool{}, wrong: map[int]float64{}}
	if run.Setup.NoLever() {
		g.leverless()
		return g
	}
	all, odd := steady.PairsOf(run, s)
	g.model.Outliers = odd
	g.pairs = result.Keep(all, func(p steady.Paired) bool { return p.Touches > 0 })
	if len(g.pairs) == 0 && len(g.printed()) == 0 {
		g.why = &record.Problem{Code: "no-gauging", Text: "nothing was gauged, and a map alone cannot tell bed from beam", Hint: "run the gauging, or print patches over the whole bed and give their thickness"}
		return g
	}
	g.machine = g.machineOf()
	g.machine.Rest, g.restSize = prof.Rest()
	g.takeMap(sv, s, w.turned)
	g.astray(sv)
	if len(g.pairs) > 0 {
		g.alone = g.fit()
	}
	g.surface = g.alone
	if g.join(w.reference) {
		g.surface = g.fit()
	}
	if g.surface.post != nil {
		g.report()
		g.setLevel()
	}
	if g.why = g.whyNot(); g.why == nil {
		c := run.Setup.Criteria
		g.gap = &Gap{Zero: run.Setup.Zero, Area: g.area(), Margin: c.GaugedMargin, surface: g.surface, steep: c.Steepest / 10}
	}
	return g
}

// machineOf bounds the travel by where probe and nozzle are known to come.
func (g *gauged) machineOf() model.Machine {
	s := g.run.Setup
	places := []record.Place{s.Zero}
	for _, r := range []record.Rect{s.Reach, s.Bed} {
		if r.Valid() && result.Tame(r.X0, r.X1, r.Y0, r.Y1) {
			places = append(places, record.Place{U: r.X0, V: r.Y0}, record.Place{U: r.X1, V: r.Y1})
		}
	}
	for _, p := range g.pairs {
		places = append(places, p.Place)
	}
	for _, r := range g.run.Readings {
		places = append(places, r.Place)
	}
	for _, j := range g.run.Joined {
		for _, x := range j.Gaps {
			places = append(places, x.Place)
		}
	}
	bed := record.Bound(places)
	t, l := bed, s.Lever
	t.X0, t.X1 = min(t.X0, t.X0-l.X), max(t.X1, t.X1-l.X)
	t.Y0, t.Y1 = min(t.Y0, t.Y0-l.Y), max(t.Y1, t.Y1-l.Y)
	if s.Bed.Valid() {
		bed = s.Bed
	}
	return model.Machine{Lever: l, Layout: s.Layout, Bed: bed, Travel: t}
}

// takeMap accumulates the survey, less what a turned plate showed to be the plate's.
func (g *gauged) takeMap(sv *steady.Survey, s steady.Steadiness, turned *plate.Turned) {
	if sv == nil {
		return
	}
	b := g.machine.Bed.Grown(g.machine.Lever.Length())
	ts := result.Keep(sv.Touches, func(t record.Touch) bool { return b.Has(t.Place) })
	g.map0.Survey(len(ts), func(i int) (model.Row, float64) {
		z := ts[i].Z - turned.Plate(ts[i].Place)
		if g.machine.Rest != nil {
			z -= g.machine.Rest(ts[i].Place.U)
		}
		return g.machine.Map(ts[i].Place), z
	})
	g.rough = g.map0.Weight(math.Max(s.Sigma, 1e-4), sv.Bound().W()*sv.Bound().H())
}

// fit returns the posterior of all readings; those that are slips for certain are
// found one by one, and count with the scatter of a slip.
func (g *gauged) fit() surface {
	sf := surface{m: g.machine, blades: bladeDoubt(g.run, g.run.Setup.Criteria)}
	prior := model.Usual(g.machine, g.run.Setup.Criteria.GaugeScatter)
	for range 1 + len(g.pairs)/6 {
		d := g.map0
		d.Readings = g.readings(prior.Slip)
		post, ok := d.Fit(g.machine, prior, g.rough)
		if !ok {
			return sf
		}
		sf.post = post
		i := g.slip(post)
		if i < 0 || (len(g.slips)+1)*6 > len(g.pairs) {
			break
		}
		g.slips[i] = true
	}
	return sf
}

// certain is how likely a record must be a slip to be set aside, likely to be doubted.
const (
	certain = 0.97
	likely  = 0.5
)

// slip is the pair that is a slip for certain, -1 for none.
func (g *gauged) slip(post *model.Posterior) int {
	for i := range g.pairs {
		if post.Slip(i) > certain {
			return i
		}
	}
	return -1
}

// base is what is taken off every record, so that the constant of the model stands for
// the rest.
func (g *gauged) base() (b float64) {
	for _, p := range g.pairs {
		b += p.G / float64(len(g.pairs))
	}
	return b
}

// readings are all readings as rows: the gaugings first, in their order.
func (g *gauged) readings(slip float64) []model.Reading {
	var out []model.Reading
	base, again := g.base(), g.again()
	for i, p := range g.pairs {
		r := model.Reading{Row: g.machine.Gap(p.Place), Y: p.G - base, U: math.Hypot(p.U, p.StepU), Hand: true}
		if again {
			r.Late = g.when(i)
		}
		if g.slips[i] {
			r.U = math.Hypot(r.U, slip)
		}
		out = append(out, r)
	}
	for _, x := range g.extra {
		out = append(out, x.reading)
	}
	return out
}

// leverless is the gap error of a probe that is the nozzle: 0 by construction.
// Its doubt: 0.5 mm of lever that nobody sees (record.Lever.None) times the
// twist of 0.75 deg that a 20 x 20 profile within ANSI H35.2 may have over
// 250 mm (design/4).
func (g *gauged) leverless() {
	s := g.run.Setup
	area := s.Reach
	if !area.Valid() {
		area = s.Bed
	}
	g.gap = &Gap{Zero: s.Zero, Area: area, Margin: s.Criteria.GaugedMargin,
		surface: surface{fixed: 0.5 * math.Sin(0.75*math.Pi/180)}, steep: s.Criteria.Steepest / 10}
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
func (g *gauged) setLevel() {
	zero, c := g.run.Setup.Zero, g.run.Setup.Criteria
	if len(g.pairs) == 0 || !record.Bound(placesOf(g.pairs)).Grown(c.GaugedMargin).Has(zero) {
		return // patches share an unknown constant
	}
	v, variance := g.surface.post.Raw(g.surface.row(zero), 0)
	m := result.Of(v+g.base(), math.Hypot(math.Sqrt(variance), c.GaugeU), math.Inf(1), "mm")
	g.level = &m
}

// report lists what does not fit, and what each motion makes.
func (g *gauged) report() {
	post := g.surface.post
	for i, p := range g.pairs {
		e, share := post.Left(i)
		off := e / math.Max(1-share, 0.05)
		text := g.misfit(i, post.Slip(i), off)
		g.model.Residuals = append(g.model.Residuals, Residual{N: p.N, Place: p.Place, Gap: p.G, Fitted: p.G - e, Residual: e, Outlier: g.slips[i], Doubted: text != ""})
		if text != "" {
			g.model.Outliers = append(g.model.Outliers, steady.Odd{N: p.N, Place: p.Place, Off: off, Used: !g.slips[i], Text: text})
		}
	}
	g.lackOfFit()
	g.motions()
}

// RawAt returns the raw gap error (the probe's height less the nozzle's, the level of
// the Z offset in it) that the model expects at p from the readings so far, mm, with the
// standard uncertainty of one more reading against it: that of the whole mixture, of the
// touches, and of the hand. ok is false where nothing can be expected yet.
func RawAt(run record.Run, p record.Place) (raw, u float64, ok bool) {
	s := steady.Judge(run)
	g := gauge(run, s, nil, nil, ways{})
	if g.surface.post == nil {
		return 0, 0, false
	}
	mean, v := g.surface.post.Raw(g.machine.Gap(p), 0)
	return mean + g.base(), math.Sqrt(v + s.Sigma*s.Sigma + math.Pow(g.surface.post.Hand(), 2)), true
}
