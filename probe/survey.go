package probe

import (
	"context"
	"fmt"
	"slices"

	"abbed/probe/record"
)

// survey makes the dense pattern, row by row to and fro, with a return to the
// base point before the first row and after each. Places without room under the
// nozzle are left out and it is said how many.
func (j *job) survey(ctx context.Context) error {
	run := j.log.Run()
	room := j.head.told.room(run)
	j.plan = j.plan.settled(run)
	rows := j.plan.rows(j.setup)
	all := len(slices.Concat(rows...))
	left := room.clear(rows)
	if err := j.begin(record.StepSurvey, left+j.plan.returns(len(rows))); err != nil {
		return err
	}
	if err := j.foretold(); err != nil {
		return err
	}
	if err := j.head.Level(ctx, false); err != nil {
		return err
	}
	if left < all {
		text := fmt.Sprintf("the survey leaves out %d of %d places: less than %.1f mm of room is predicted under the nozzle there", all-left, all, leastRoom)
		if err := j.note(text); err != nil {
			return err
		}
	}
	if left < all/4 {
		return &CutError{record.Cut{Finding: "repair", Code: "no-room",
			Text: "There is too little room under the nozzle to survey the bed with this probe.",
			Next: "Mount the probe lower, or repair the tilt of the head, then measure again."}}
	}
	return j.patrol(ctx, rows)
}

// foretold keeps and shows what the survey is to be.
func (j *job) foretold() error {
	s := j.view.Forecast.Survey
	if s == nil {
		return nil
	}
	text := fmt.Sprintf("%s, about %s.", s.Says(), span(s.Time))
	j.view.Sentence = sentences[record.StepSurvey] + " " + text
	j.show()
	return j.note("the survey is planned: " + text)
}

// returns is how often the survey of so many rows returns to the base point.
func (p Plan) returns(rows int) int {
	every := max(1, p.BaseEvery)
	return 1 + (rows+every-1)/every
}

func (j *job) patrol(ctx context.Context, rows [][]record.Place) error {
	k := 0
	base := func(pass int) error {
		what := record.Touch{Series: record.SeriesBase, Pass: pass, Index: pass, Spot: -1}
		return j.touch(ctx, j.setup.Zero, record.Side{X: -1}, what)
	}
	if err := j.sure(func() error { return base(0) }); err != nil {
		return err
	}
	for i, row := range rows {
		side := record.Side{X: -1}
		if i%2 == 1 {
			slices.Reverse(row)
			side.X = 1
		}
		if err := j.line(ctx, row, side, record.Touch{Series: record.SeriesSurvey, Pass: i, Index: k}); err != nil {
			return err
		}
		k += len(row)
		if (i+1)%max(1, j.plan.BaseEvery) != 0 && i+1 < len(rows) {
			continue
		}
		if err := base(i + 1); err != nil {
			return err
		}
	}
	return nil
}
