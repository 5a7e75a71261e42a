package probe

import (
	"context"
	"slices"

	"abbed/analysis"
	"abbed/probe/record"
)

// gauging is the step in which the person feels for the nozzle with a feeler gauge,
// point by point.
type gauging struct {
	*job
	route   route
	blade   float64
	alone   bool
	spot    int          // counts places
	place   record.Place // in hand
	wanted  int
	visit   int
	homings int // at the last reading
	// confirmed says that one more reading was asked for since it is decided what to do.
	confirmed bool
	way       approachTo
	d         descent
	presses   int
	skip      bool
	// short are the points where the gauge was loose at the floor; pending is what
	// comes next because of one, and detour says that this visit ended so.
	short, pending []record.Place
	detour         bool
	// skippedBack says that the person skipped the return to the zero place.
	skippedBack bool
	proof       *record.Proof // of an applied table, or nil: then nothing is touched
	once        bool          // one record a place is asked for, whatever the plan
}

// gauge takes the person from place to place until none is left.
func (j *job) gauge(ctx context.Context) error {
	run := j.log.Run()
	if run.Setup.NoLever() {
		return j.note("nothing to gauge: the probe is the nozzle")
	}
	g := j.newGauging(run)
	places := len(g.route.walk(nil, g.head.told.room(run)))
	if err := j.begin(record.StepGauging, g.plan.recordsOver(0, places, g.alone)+g.plan.recordsBack(g.alone)); err != nil {
		return err
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	if err := j.head.Level(ctx, false); err != nil {
		return err
	}
	if g.plan.Earlier != nil {
		return g.goOn(ctx)
	}
	for g.spot = 0; ; g.spot++ {
		p, more, cramped := g.pick()
		if !more {
			return g.end(cramped)
		}
		if err := g.at(ctx, p); err != nil {
			return err
		}
	}
}

func (j *job) newGauging(run record.Run) *gauging {
	g := &gauging{job: j, blade: bladeOf(run), alone: len(run.Steps) == 1 || j.plan.Earlier != nil}
	g.route = route{aims: j.plan.aims(j.setup, g.alone), reach: j.setup.Reach}
	return g
}

// bladeOf is how thick the gauge is, mm.
func bladeOf(run record.Run) float64 {
	if run.Confirmed != nil && run.Confirmed.Blade > 0 {
		return run.Confirmed.Blade
	}
	return defaultBlade
}

// awake holds the printer's idle switch-off of the motors off; it is put back
// with the end of the run. A printer that is busy for minutes would switch them
// off in any step, and no answer tells it.
func (j *job) awake(ctx context.Context) error { return j.head.Switch(ctx, record.SwitchIdle, false) }

// records is how many records the place in hand owes.
func (g *gauging) records() int {
	if g.proof != nil {
		return proves(g.log.Run(), g.spot)
	}
	return g.owed() + g.plan.roughs(g.here(), g.alone)
}

// owed is how many records the place in hand owes by the plan.
func (g *gauging) owed() int {
	switch {
	case !g.once && g.before() && g.place.Distance(g.setup.Zero) < 1:
		return max(1, g.plan.recordsBack(g.alone))
	case g.once || g.before():
		return 1
	}
	return g.plan.recordsAt(g.spot, g.alone)
}

// end closes the step; places that the room forbids are a finding only if
// nothing beyond the zero place could be gauged.
func (g *gauging) end(cramped bool) error {
	if !cramped {
		return nil
	}
	if len(g.head.told.gauged(g.log.Run())) < 2 {
		return &CutError{record.Cut{Finding: analysis.Repair, Code: "no-room",
			Text: "There is too little room under the nozzle: only the zero point can be touched.",
			Next: "Mount the probe lower, so that it touches earlier. Then measure again."}}
	}
	return g.note("some places were not gauged: less than 0.3 mm of room is predicted under the nozzle there")
}

// display shows where the person stands.
func (g *gauging) display(p Phase) {
	v := &g.view
	v.Phase = p
	g.meter.done = len(g.log.Run().Gaugings)
	v.Spot = nil
	switch p {
	case PhaseGauge:
		v.Sentence = "Slide the feeler gauge under the nozzle. Is it loose, does it drag, or is it tight?"
	case PhaseNext:
		v.Sentence = "Take hand and gauge out, then press next."
		if g.detour {
			v.Sentence = "Take hand and gauge out, then press next. The gauge was still loose as low as the nozzle may go: a point half way comes first, then this one again."
		}
		if g.head.Away() {
			v.Sentence = "Press next to come back here: the machine homes first. No one acted for long, so the nozzle was raised."
		}
	default:
		v.Sentence = "Moving to the next point. Keep hands and gauge out."
	}
	if p != PhaseWorking {
		v.Spot = g.status(p)
	}
	g.show()
}

func (g *gauging) status(p Phase) *Spot {
	s := &Spot{
		Index: g.spot, Place: g.place, Z: g.d.z, Predicted: g.way.predicted, Floor: g.way.floor,
		NextStep: g.d.next(), Records: g.count(), Wanted: g.wanted, Blade: g.blade,
	}
	run := g.log.Run()
	gs := slices.Clone(g.head.told.gauged(run))
	if s.Records == 0 {
		gs = append(gs, gauged{place: g.place})
	}
	s.Ahead = g.ahead(gs, g.head.told.room(run))
	s.Of = g.spot + 1 + len(s.Ahead)
	for _, r := range g.here() {
		s.Contacts = append(s.Contacts, r.Z-r.Blade)
	}
	if p == PhaseNext {
		s.Z = g.setup.Clearance
		s.NextStep = 0
	}
	return s
}
