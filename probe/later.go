package probe

import (
	"context"
	"fmt"
	"time"

	"abbed/analysis"
	"abbed/analysis/plan"
	"abbed/config/say"
	"abbed/probe/record"
)

// Earlier is the run that a later run of gauging goes on with: its places are those
// that the earlier run still asks for.
type Earlier struct {
	// Run is the earlier run as it stood when the later one was made.
	Run record.Run
	// Wanted is the first place that it asks for, and what is open; Found says that
	// there is one.
	Wanted analysis.Advice
}

// NewEarlier looks where one more place would help the earlier run most on the
// machine as it is now. Where nothing is open, the place that would lower its doubt
// most is still the one: a person can always do more.
func NewEarlier(run record.Run, now record.Setup, p Plan) *Earlier {
	e := &Earlier{Run: run.Clone()}
	e.Wanted, _ = e.next(e.Run, e.anywhere(p, now), p.Target)
	return e
}

// next is where one more record would help most, of the places, and whether anything
// is open that it would settle.
func (e *Earlier) next(run record.Run, places []record.Place, target float64) (a analysis.Advice, open bool) {
	if a, open = analysis.Judge(run).MoreAt(run, places, target); open {
		return a, true
	}
	return analysis.Advise(run, places, target), false
}

// with is the earlier run with what the later one has gauged so far.
func (e *Earlier) with(later record.Run) record.Run {
	run := e.Run.Clone()
	run.Joined = append(run.Joined, analysis.Joining(later))
	return run
}

// anywhere are places to gauge all over the area and those that the earlier run
// gauged, but the zero place: a later run begins there by itself.
func (e *Earlier) anywhere(p Plan, s record.Setup) []record.Place {
	var out []record.Place
	add := func(q record.Place) {
		if q.Distance(s.Zero) >= leastHop && s.Reach.Has(q) {
			out = append(out, q)
		}
	}
	for _, q := range allOver(p.inner(s)) {
		add(q)
	}
	for _, g := range e.Run.Gaugings {
		add(g.Place)
	}
	return out
}

// goesOn are the aims of a later run as far as they are known before it: the zero
// place, and the first that the earlier run asks for.
func (p Plan) goesOn(s record.Setup) []record.Place {
	out := []record.Place{s.Zero}
	if p.Earlier.Wanted.Found {
		out = append(out, p.Earlier.Wanted.Place)
	}
	return out
}

// mostLater is how many records a later run makes at most.
const mostLater = 16

// oftenEnough is how often one place is gauged in a later run at most: more say nothing
// that was not open before.
const oftenEnough = 2

// goOn takes the person to the zero place, then to the places that the earlier run
// asks for, by hops that the rules allow from what this run itself has gauged: the
// machine may have changed since the earlier one. The person is asked before each
// place but the first.
func (g *gauging) goOn(ctx context.Context) error {
	w := wish{gauging: g}
	for g.spot = 0; ; g.spot++ {
		p, more, err := w.next(ctx)
		if err != nil {
			return err
		}
		if !more {
			return g.end(w.cramped)
		}
		if err := g.at(ctx, p); err != nil {
			return err
		}
		w.came(p)
	}
}

// wish is the place that the earlier run asks for at the moment.
type wish struct {
	*gauging
	place   record.Place
	on      bool // on the way to place
	reached int  // places that were asked for and reached
	cramped bool
}

// next is the next place on the way: the zero place first.
func (w *wish) next(ctx context.Context) (p record.Place, more bool, err error) {
	if len(w.pending) > 0 {
		p, w.pending = w.pending[0], w.pending[1:]
		return p, true, nil
	}
	run := w.log.Run()
	gs, room := w.head.told.gauged(run), w.head.told.room(run)
	if len(gs) == 0 {
		return w.setup.Zero, len(w.route.skipped) == 0, nil
	}
	for len(run.Gaugings) < mostLater {
		if !w.on {
			if more, err := w.ask(ctx, run); err != nil || !more {
				return p, false, err
			}
		}
		hop, ok, tight := w.route.hop(w.place, gs, room)
		if ok {
			return hop, true, nil
		}
		// No way there: the next best place, if there is one.
		w.cramped = w.cramped || tight
		w.route.skipped = append(w.route.skipped, w.place)
		w.on = false
	}
	return p, false, nil
}

// came notes that p was visited.
func (w *wish) came(p record.Place) {
	if w.on && p.Distance(w.place) < 1 {
		w.on = false
		w.reached++
	}
}

// ask looks for the place that is wanted now, and asks whether the person goes on to
// it; the first was asked for with the run.
func (w *wish) ask(ctx context.Context, run record.Run) (bool, error) {
	e, offers := w.plan.Earlier, w.offered(run)
	all := e.with(run)
	if l := analysis.Judge(all).Later; len(l) > 0 && l[len(l)-1].Run == run.ID && l[len(l)-1].Contradicts {
		return false, w.note("no more is asked for: " + l[len(l)-1].Text)
	}
	a, open := e.next(all, offers, w.plan.Target)
	if !a.Found || w.reached > 0 && !open {
		return false, nil
	}
	if w.reached > 0 {
		if yes, err := w.wantsMore(ctx, a); err != nil || !yes {
			return false, err
		}
		w.meter.of = max(w.meter.of, len(run.Gaugings)+1)
	}
	w.place, w.on = a.Place, true
	w.route.aims = []record.Place{w.setup.Zero, a.Place}
	return true, nil
}

// offered are the places that may be wanted: not those that the person skipped, nor
// those that this run has gauged often enough.
func (w *wish) offered(run record.Run) []record.Place {
	var out []record.Place
	for _, p := range w.plan.Earlier.anywhere(w.plan, w.setup) {
		n := 0
		for _, g := range run.Gaugings {
			if g.Place.Distance(p) < 1 {
				n++
			}
		}
		if n < oftenEnough && !w.route.passed(p, nil) {
			out = append(out, p)
		}
	}
	return out
}

// laterAhead completes what is ahead of a later run: how well the earlier run knows
// by now.
func (p Plan) laterAhead(a *GaugingAhead, run record.Run) {
	a.Most, a.Straight, a.Bent = mostLater, nil, nil
	if w := p.Earlier.Wanted; len(run.Gaugings) < 2 && w.Found {
		a.First = fmt.Sprintf("The earlier run needs %s first.", w.Place)
		if w.Told {
			a.First += fmt.Sprintf(" Its nozzle error is known to %s now, and then to about %s.", say.PM(w.Now), say.PM(w.After))
		}
	}
	if len(run.Gaugings) > 2 {
		if now := analysis.Advise(p.Earlier.with(run), nil, p.Target); now.Told && now.Now > 0 {
			a.Now = &now.Now
		}
	}
}

// Ahead returns how many records a later run for this one takes until the place that
// is wanted is gauged, each place with the gap error of the zero place, and about how
// long they take.
func (e *Earlier) Ahead() (records int, takes time.Duration) {
	s := e.Run.Setup
	r := route{aims: []record.Place{s.Zero, e.Wanted.Place}, reach: s.Reach}
	records = 1 + len(r.walk(nil, Room{trigger: s.Trigger, zero: s.Zero, nozzle: s.NoLever()}))
	return records, time.Duration(records) * seconds(plan.RecordTime(e.Run))
}
