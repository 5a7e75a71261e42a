package probe

import (
	"context"

	"abbed/analysis"
	"abbed/probe/record"
)

// oneMore asks, once the survey is there, whether one more place is to be gauged
// while the printer stands ready, as long as something is open that it would
// settle: the survey's profile may differ from what was gauged. Nobody there is as
// good as a no; what was said stands in the findings, for later.
func (j *job) oneMore(ctx context.Context) error {
	if !j.log.Run().Asked(record.StepGauging) || !j.log.Run().Asked(record.StepSurvey) {
		return nil
	}
	g := j.newGauging(j.log.Run())
	g.once = true
	for g.spot = spots(j.log.Run()); ; g.spot++ {
		run := j.log.Run()
		gs := g.head.told.gauged(run)
		if len(gs) < 2 {
			return nil
		}
		a, ok := analysis.Judge(run).MoreAt(run, g.anywhere(gs, g.head.told.room(run)), g.plan.Target)
		if !ok {
			return nil
		}
		if yes, err := g.wantsMore(ctx, a); err != nil || !yes {
			return err
		}
		if err := j.begin(record.StepGauging, 1); err != nil {
			return err
		}
		if err := g.at(ctx, a.Place); err != nil {
			return err
		}
	}
}

// spots is how many gauging places the run has had so far.
func spots(run record.Run) int {
	n := 0
	for _, t := range run.Of(record.SeriesPair) {
		n = max(n, t.Spot+1)
	}
	return n
}

// anywhere are the places on offer, and those all over the area that may be gauged
// from there by the rules.
func (g *gauging) anywhere(gs []gauged, room Room) []record.Place {
	out := g.offers(gs, room)
	in := g.plan.inner(g.setup)
	for _, v := range spread(in.Y0, in.Y1, 3) {
		for _, u := range spread(in.X0, in.X1, 9) {
			p := record.Place{U: u, V: v}
			near := nearest(gs, p).place.Distance(p)
			if near >= leastHop && near <= hopMost && room.At(p) >= leastRoom && !g.route.passed(p, nil) {
				out = append(out, p)
			}
		}
	}
	return out
}
