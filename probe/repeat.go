package probe

import (
	"context"

	"abbed/analysis"
	"abbed/probe/record"
)

// sides are the four diagonal sides of the repeat test. Going round them keeps
// the sides balanced against drift: each comes first, second, third and last.
var sides = [4]record.Side{{X: -1, Y: -1}, {X: 1, Y: -1}, {X: 1, Y: 1}, {X: -1, Y: 1}}

// repeat makes the repeat test: the zero place again and again, from each side,
// the head moving away in X and Y between touches; then one row, passed
// several times from the same side. A failed gate is a CutError.
func (j *job) repeat(ctx context.Context) error {
	room := j.head.told.room(j.log.Run())
	row := j.plan.row(j.setup, room)
	if err := j.begin(record.StepRepeat, 4*j.plan.Rounds+j.plan.Passes*len(row)); err != nil {
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
	if err := j.passes(ctx, row); err != nil {
		return err
	}
	if f, failed := analysis.Steady(j.log.Run()).Failed(); failed {
		return &CutError{record.Cut{Finding: f.ID, Code: "gate", Text: f.Sentence, Next: f.Next}}
	}
	return nil
}

func (j *job) passes(ctx context.Context, row []record.Place) error {
	k := 0
	for pass := range j.plan.Passes {
		if err := j.stillFree(ctx); err != nil {
			return err
		}
		for _, p := range row {
			what := record.Touch{Series: record.SeriesRow, Pass: pass, Index: k, Spot: -1}
			if err := j.touch(ctx, p, record.Side{X: -1}, what); err != nil {
				return err
			}
			k++
		}
	}
	return nil
}
