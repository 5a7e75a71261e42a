package probe

import (
	"context"
	"errors"
)

// byHand carries out the person's actions at one visit, from the arrival until
// next. No action waits for what comes after it: next is answered at once, and an
// action that ends the run when the nozzle is up.
func (g *gauging) byHand(ctx context.Context) error {
	phase, wait := PhaseGauge, g.patience()
	for {
		g.display(phase)
		a, err := attend(ctx, wait, g.Person.Act)
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
		ends := next == phaseLeave || err != nil && !refused(err)
		switch {
		case ends:
			g.display(PhaseWorking)
		case err == nil || next != phase:
			phase, wait = next, g.patience()
			g.display(phase)
		}
		a.Done(answered(a, err))
		if ends && err == nil {
			return g.back(ctx)
		}
		if ends {
			return err
		}
	}
}

// answered is the answer to an action: a loose that ends the run is refused, since there
// is no way down; a reading that ends it is kept.
func answered(a Action, err error) error {
	cut := AsCut(err)
	switch {
	case cut == nil:
		return err
	case a.Do == "loose":
		return refuse("past-floor", cut.Next, "%s", cut.Text)
	}
	return nil
}
