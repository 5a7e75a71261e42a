package probe

import (
	"context"
	"fmt"

	"abbed/analysis"
	"abbed/config/say"
	"abbed/probe/record"
)

// pick returns the next place: the route's, then what the lean plan asks for,
// and at the end the zero place once more.
//
// The return to the zero place is asked for in both plans. A probe whose own
// trigger point drifts, while the frame stands, moves every gap error that is
// gauged after, and the paired touches with it; nothing else shows that. It costs
// the full plan one record in some twenty, and the lean one none: there it stands
// in place of a second record at the beginning. The five-minute answer goes
// without: it is over before a probe drifts far, and a whole job follows it where
// it matters.
func (g *gauging) pick() (p record.Place, more, cramped bool) {
	if len(g.pending) > 0 {
		p, g.pending = g.pending[0], g.pending[1:]
		return p, true, false
	}
	run := g.log.Run()
	gs, room := g.head.told.gauged(run), g.head.told.room(run)
	if p, more, cramped = g.route.next(gs, room); more {
		return p, true, cramped
	}
	if g.plan.Lean && !g.alone {
		p, more = g.advised(run, gs, room)
		return p, more, cramped
	}
	return g.setup.Zero, g.owesReturn(gs) && g.spot > 0, cramped
}

// surveyed is the share of the target that the readings are to reach by themselves: with
// the survey the largest doubt changes a little, and may not pass the target then (found
// by simulation, no source).
const surveyed = 0.85

// advised is where the analysis wants one more record. Where nothing more is wanted that
// has to hold after one more record where it tells most: whoever stops as soon as the
// doubt is small stops where it is small by chance.
func (g *gauging) advised(run record.Run, gs []gauged, room Room) (record.Place, bool) {
	most := g.plan.most(g.setup)
	if len(run.Gaugings) >= most || len(gs) < 2 {
		return record.Place{}, false
	}
	last := len(run.Gaugings) >= most-g.plan.recordsBack(false)
	a := analysis.Advise(run, g.anywhere(gs, room), surveyed*g.plan.Target)
	settled := a.Why == "" || g.decided(run)
	if settled && !last && !g.confirmed {
		g.confirmed = true
		if more := analysis.Advise(run, g.anywhere(gs, room), 0); more.Found {
			return more.Place, true
		}
	}
	g.confirmed = g.confirmed && settled
	if g.owesReturn(gs) && (settled || last) {
		return g.setup.Zero, true
	}
	return a.Place, a.Found && !settled
}

// decided reports whether no further reading can change what to do: nothing, since the
// nozzle is within the tolerance everywhere, or a repair.
func (g *gauging) decided(run record.Run) bool {
	v := analysis.Judge(run)
	return v.Has(analysis.Healthy) || v.Has(analysis.Repair)
}

// offers are the places that may be gauged now: the gauged ones, and those of
// their columns in the first, the zero place's and the last row.
func (g *gauging) offers(gs []gauged, room Room) []record.Place {
	in := g.plan.inner(g.setup)
	var out []record.Place
	add := func(p record.Place) {
		near := nearest(gs, p).place.Distance(p)
		if near <= hopFrom(len(gs)) && room.At(p) >= leastRoom && !g.route.passed(p, nil) && (near < 1 || near >= leastHop) {
			out = append(out, p)
		}
	}
	for _, q := range gs {
		add(q.place)
		for _, v := range []float64{in.Y0, g.setup.Zero.V, in.Y1} {
			if p := (record.Place{U: q.place.U, V: v}); nearest(gs, p).place.Distance(p) >= leastHop {
				add(p)
			}
		}
	}
	return out
}

// owesReturn reports whether the zero place is still to be gauged at the end: it
// was not since another place was.
func (g *gauging) owesReturn(gs []gauged) bool {
	if len(gs) < 2 || g.skippedBack || g.alone || g.proof != nil {
		return false
	}
	at := g.log.Run().Gaugings
	return len(at) == 0 || at[len(at)-1].Place.Distance(g.setup.Zero) >= 1
}

// ahead are the places that are still planned, the return to the zero place
// among them; the lean plan may ask for more.
func (g *gauging) ahead(gs []gauged, room Room) []record.Place {
	out := g.route.walk(gs, room)
	if g.proof == nil && !g.alone && !g.skippedBack && (len(out) > 0 || g.place.Distance(g.setup.Zero) >= 1) {
		out = append(out, g.setup.Zero)
	}
	return out
}

// before reports whether the place in hand was gauged at an earlier visit.
func (g *gauging) before() bool {
	for _, r := range g.log.Run().Gaugings {
		if r.Spot != g.spot && r.Place.Distance(g.place) < 1 {
			return true
		}
	}
	return false
}

// wantsMore asks whether one more place is to be gauged.
func (g *gauging) wantsMore(ctx context.Context, a analysis.Advice) (bool, error) {
	text := fmt.Sprintf("One more reading at %s helps. %s ", a.Place, say.Sentence(a.Why))
	text += fmt.Sprintf("Gauge there now? Without an answer in %s the run continues without it. Keep hands and gauge out.", g.plan.Patience)
	return g.ifAnswered(ctx, record.Question{ID: fmt.Sprintf("more-places-%d", g.spot), Text: text})
}
