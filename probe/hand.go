package probe

import (
	"context"
	"errors"
	"fmt"

	"abbed/probe/record"
)

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
			g.display(PhaseWorking) // the run is ending
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

// standDown raises the nozzle and switches the heaters off when nobody has acted
// for long.
func (g *gauging) standDown(ctx context.Context) error {
	if g.away {
		return nil
	}
	g.away = true
	if err := g.up(ctx); err != nil {
		return err
	}
	if err := g.coolUnwatched(ctx); err != nil {
		return err
	}
	return g.keep(record.Event{Note: &record.Note{Text: fmt.Sprintf("nobody acted for %s: the nozzle was raised, heat is off", g.plan.Patience)}})
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
	return g.homeAgain(ctx)
}
