package probe

import (
	"context"

	"abbed/analysis/steady"
	"abbed/probe/record"
)

// sides are the four diagonal sides of the repeat test. Going round them keeps
// the sides balanced against drift: each comes first, second, third and last.
var sides = [4]record.Side{{X: -1, Y: -1}, {X: 1, Y: -1}, {X: 1, Y: 1}, {X: -1, Y: 1}}

// repeat makes the first part of the repeat test: the zero place again and again, from
// each side, the head moving away in X and Y between touches. It takes a minute and a
// half, so that an unsteady machine is told before anyone has spent time at the gauge.
// The rows come after the gauging, since nobody need be there. A failed gate is a
// CutError.
func (j *job) repeat(ctx context.Context) error {
	if err := j.begin(record.StepRepeat, 4*j.plan.Rounds); err != nil {
		return err
	}
	if err := j.head.Level(ctx, false); err != nil {
		return err
	}
	for k := range 4 * j.plan.Rounds {
		// Each round begins at another side, so that no side is always first.
		side := sides[(k+k/4)%4]
		what := record.Touch{Series: record.SeriesRepeat, Pass: k / 4, Index: k, Spot: -1}
		if err := j.touch(ctx, j.setup.Zero, side, what); err != nil {
			return err
		}
	}
	return j.gate()
}

// rows passes one row several times from the same side, for wheels and wandering: the
// second part of the repeat test, unwatched.
func (j *job) rows(ctx context.Context) error {
	row := j.plan.row(j.setup, j.head.told.room(j.log.Run()))
	if err := j.beginAs(record.StepRepeat, j.plan.Passes*len(row), rowsSentence); err != nil {
		return err
	}
	if err := j.head.Level(ctx, false); err != nil {
		return err
	}
	if err := j.passes(ctx, row); err != nil {
		return err
	}
	return j.gate()
}

const rowsSentence = "You can go now. One row is touched three times: do the wheels run true?"

// gate ends the run where the machine is not steady.
func (j *job) gate() error {
	if f, failed := steady.Steady(j.log.Run()).Failed(); failed {
		return &CutError{record.Cut{Finding: f.ID, Code: "gate", Text: f.Sentence, Next: f.Next}}
	}
	return nil
}

func (j *job) passes(ctx context.Context, row []record.Place) error {
	for pass := range j.plan.Passes {
		what := record.Touch{Series: record.SeriesRow, Pass: pass, Index: pass * len(row)}
		if err := j.line(ctx, row, record.Side{X: -1}, what); err != nil {
			return err
		}
	}
	return nil
}

// line touches the places of a row in their order, coming from side, unless somebody else
// has begun to use the printer. what is the first touch; the others count on from it.
func (j *job) line(ctx context.Context, row []record.Place, side record.Side, what record.Touch) error {
	if err := j.stillFree(ctx); err != nil {
		return err
	}
	what.Spot = -1
	for _, p := range row {
		touch := func() error { return j.touch(ctx, p, side, what) }
		again := touch
		if what.Index == 0 {
			again = func() error { return j.sure(touch) }
		}
		if err := again(); err != nil {
			return err
		}
		what.Index++
	}
	return nil
}
