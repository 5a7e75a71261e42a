package probe

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"abbed/analysis"
	"abbed/probe/record"
)

// gauging is the step in which the person lowers the nozzle onto a blade, place
// by place.
type gauging struct {
	*job
	route   route
	blade   float64
	alone   bool
	spot    int          // counts places
	place   record.Place // in hand
	wanted  int
	visit   int
	way     approachTo
	z       float64
	lowered bool
	presses int
	away    bool // raised after a long silence: home again first
	skip    bool
	proof   *record.Proof // of an applied table, or nil: then nothing is touched
	// pending is the Done of a next whose move is still going on.
	pending func(error)
}

// release answers the next that is pending. A cut is no failure of the move.
func (g *gauging) release(err error) {
	if g.pending == nil {
		return
	}
	if AsCut(err) != nil {
		err = nil
	}
	g.pending(err)
	g.pending = nil
}

// gauge takes the person from place to place until none is left.
func (j *job) gauge(ctx context.Context) (err error) {
	run := j.log.Run()
	if run.Setup.Lever.None() {
		return j.keep(record.Event{Note: &record.Note{Text: "nothing to gauge: the probe is the nozzle"}})
	}
	g := &gauging{job: j, blade: defaultBlade, alone: len(run.Steps) == 1}
	if run.Confirmed != nil && run.Confirmed.Blade > 0 {
		g.blade = run.Confirmed.Blade
	}
	g.route = route{aims: j.plan.aims(j.setup, g.alone), reach: j.setup.Reach}
	places := g.route.ahead(nil, g.head.told.room(run))
	if err := j.begin(record.StepGauging, places*g.records()); err != nil {
		return err
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	if err := j.head.Switch(ctx, record.SwitchLevelling, false); err != nil {
		return err
	}
	defer func() { g.release(err) }()
	for g.spot = 0; ; g.spot++ {
		run := j.log.Run()
		p, _, more, cramped := g.route.next(g.head.told.gauged(run), g.head.told.room(run))
		if !more {
			return g.end(cramped)
		}
		if err := g.at(ctx, p); err != nil {
			return err
		}
	}
}

// awake holds the printer's idle switch-off of the motors off while a person
// gauges; it is put back with the end of the run.
func (j *job) awake(ctx context.Context) error { return j.head.Switch(ctx, record.SwitchIdle, false) }

func (g *gauging) records() int {
	if g.alone {
		return 1
	}
	return g.plan.Records
}

// end closes the step; places that the room forbids are a finding only if
// nothing beyond the zero place could be gauged.
func (g *gauging) end(cramped bool) error {
	if !cramped {
		return nil
	}
	if len(g.head.told.gauged(g.log.Run())) < 2 {
		return &CutError{record.Cut{Finding: analysis.Repair, Code: "no-room",
			Text: "There is too little room under the nozzle to touch the bed anywhere but at the zero place.",
			Next: "Mount the probe lower, so that the nozzle is higher when it touches, then measure again."}}
	}
	return g.keep(record.Event{Note: &record.Note{Text: "some places were not gauged: less than 0.3 mm of room is foretold under the nozzle there"}})
}

// at visits one place until it has its records or the person skips it.
func (g *gauging) at(ctx context.Context, p record.Place) error {
	g.place, g.wanted, g.skip = p, g.records(), false
	if g.alone && g.spot == 0 && g.proof == nil {
		g.wanted = 2
	}
	for g.visit = 0; ; g.visit++ {
		if err := g.touches(ctx); err != nil {
			return err
		}
		if g.skip || g.count() >= g.wanted {
			return nil
		}
		if err := g.arrive(ctx); err != nil {
			return err
		}
		if err := g.byHand(ctx); err != nil {
			return err
		}
		if g.skip && g.count() == 0 {
			g.route.skipped = append(g.route.skipped, g.place)
			return nil
		}
	}
}

// touches makes the paired touches that stand before this visit, and after the
// one before.
func (g *gauging) touches(ctx context.Context) error {
	if g.proof != nil {
		return nil // with the levelling on a touch says nothing of the nozzle
	}
	for k := range g.plan.Pairs {
		what := record.Touch{Series: record.SeriesPair, Pass: g.visit, Index: k, Spot: g.spot}
		if _, err := g.head.Touch(ctx, g.place, record.Side{X: -1}, what); err != nil {
			return err
		}
	}
	return nil
}

// touched is the mean height of the touches just made.
func (g *gauging) touched() float64 {
	sum, n := 0.0, 0
	for _, t := range g.log.Run().Of(record.SeriesPair) {
		if t.Spot == g.spot && t.Pass == g.visit {
			sum += t.Z
			n++
		}
	}
	return sum / float64(n)
}

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
	if err := g.head.Switch(ctx, record.SwitchLimits, false); err != nil {
		return err
	}
	g.z = round(g.way.arrival)
	if err := g.head.Lower(ctx, g.z, g.way.floor); err != nil {
		return err
	}
	g.lowered, g.presses = false, 0
	return g.keep(record.Event{Arrived: &record.Arrived{
		Spot: g.spot, Visit: g.visit, Place: g.place, Z: g.z, Predicted: g.way.predicted, Floor: g.way.floor,
	}})
}

// foretell returns the approach to the place in hand as the records stand now.
func (g *gauging) foretell() approachTo {
	gs := g.head.told.gauged(g.log.Run())
	here := g.here()
	switch {
	case len(here) > 0:
		last := here[len(here)-1]
		return again(last.Z-last.Blade, g.blade)
	case g.proof != nil:
		return proving(*g.proof)
	case len(gs) == 0:
		return first(g.touched(), g.setup.Lever)
	}
	return later(g.touched(), g.place, gs)
}

// round gives heights the step in which printers take them, 0.001 mm.
func round(z float64) float64 { return math.Round(z*1000) / 1000 }

// byHand carries out the person's actions at one visit, from the arrival until
// next.
func (g *gauging) byHand(ctx context.Context) error {
	phase := PhaseGauge
	for {
		g.display(phase)
		a, err := g.await(ctx)
		if errors.Is(err, errPatience) {
			if err := g.standDown(ctx); err != nil {
				return err
			}
			phase = PhaseNext
			continue
		}
		if err != nil {
			return err
		}
		next, err := g.act(ctx, phase, a)
		switch {
		case err == nil && next == phaseLeave:
			return g.leave(ctx, a)
		case AsCut(err) != nil:
			g.answerCut(a, err)
			return err
		case err != nil && Refusal(err) == nil:
			a.Done(err)
			return err
		}
		if err == nil {
			phase = next
			g.display(phase)
		}
		a.Done(err)
	}
}

// answerCut answers an action that ends the run: a lowering is refused at once,
// since it is not done; a record is answered when the run has ended.
func (g *gauging) answerCut(a Action, err error) {
	g.display(PhaseWorking)
	if a.Do != "lower" {
		g.pending = a.Done
		return
	}
	a.Done(refuse("past-floor", AsCut(err).Next, "%s", AsCut(err).Text))
}

var errPatience = errors.New("probe: nobody acted")

// await waits for an action, at most as long as the person's patience.
func (g *gauging) await(ctx context.Context) (Action, error) {
	limited, cancel := g.Clock.WithTimeout(ctx, g.plan.Patience)
	defer cancel()
	a, err := g.Person.Act(limited)
	if err != nil && ctx.Err() == nil && limited.Err() != nil {
		return a, errPatience
	}
	return a, err
}

// standDown raises the nozzle when nobody has acted for long.
func (g *gauging) standDown(ctx context.Context) error {
	if g.away {
		return nil
	}
	g.away = true
	if err := g.up(ctx); err != nil {
		return err
	}
	return g.keep(record.Event{Note: &record.Note{Text: fmt.Sprintf("nobody acted for %s: the nozzle was raised", g.plan.Patience)}})
}

// up raises the nozzle and switches the travel limits on again.
func (g *gauging) up(ctx context.Context) error {
	if err := g.head.Raise(ctx); err != nil {
		return err
	}
	return g.head.Switch(ctx, record.SwitchLimits, true)
}

// leave ends a visit: the person pressed next. The action is done when the next
// arrival is, or the step ends; the View says which. Until then Done waits.
func (g *gauging) leave(ctx context.Context, a Action) error {
	g.display(PhaseWorking)
	g.pending = a.Done
	if err := g.stillFree(ctx); err != nil {
		return err
	}
	if !g.away {
		return nil
	}
	g.away = false
	return g.head.Home(ctx)
}

// display shows where the person stands.
func (g *gauging) display(p Phase) {
	v := &g.view
	v.Phase = p
	g.meter.done = len(g.log.Run().Gaugings)
	v.Spot = nil
	switch p {
	case PhaseGauge:
		v.Sentence = "Put the blade under the nozzle and lower until it just drags, then record."
	case PhaseNext:
		v.Sentence = "Take hand and blade out, then press next."
		if g.away {
			v.Sentence = "Nobody acted for long, so the nozzle was raised. Press next to come back here: the machine homes first."
		}
	default:
		v.Sentence = "Moving to the next place. Keep hands and blade out."
	}
	if p != PhaseWorking {
		v.Spot = g.status(p)
	}
	g.show()
	if p != PhaseWorking {
		g.release(nil)
	}
}

func (g *gauging) status(p Phase) *Spot {
	s := &Spot{
		Index: g.spot, Place: g.place, Z: g.z, Predicted: g.way.predicted, Floor: g.way.floor,
		MaxStep: g.way.maxStep(g.z, g.blade), Records: g.count(), Wanted: g.wanted, Blade: g.blade,
	}
	run := g.log.Run()
	gs := slices.Clone(g.head.told.gauged(run))
	if s.Records == 0 {
		gs = append(gs, gauged{place: g.place})
	}
	s.Of = g.spot + 1 + g.route.ahead(gs, g.head.told.room(run))
	for _, r := range g.here() {
		s.Contacts = append(s.Contacts, r.Z-r.Blade)
	}
	if p == PhaseNext {
		s.Z = g.setup.Clearance
		s.MaxStep = 0
	}
	return s
}
