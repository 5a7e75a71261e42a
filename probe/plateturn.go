package probe

import (
	"context"
	"math"

	"abbed/probe/record"
)

// turns are the turns of a removable plate, with what is asked.
var turns = []struct {
	deg    int
	series record.Series
	square bool
	text   string
}{
	{180, record.SeriesHalfTurn, false,
		"Turn the removable plate by half a turn, front to back. Lay it exactly on the same outline. Yes when your hands are out: the printer homes and touches it. No to leave this out."},
	{90, record.SeriesQuarterTurn, true,
		"Lay the plate a quarter turn from how it lay first, counter-clockwise seen from above: what was at the right edge is now at the back. Yes when it lies so and your hands are out: the machine homes and touches it. No to leave this out."},
}

// plateTurn has the person turn the removable plate, and surveys it again. Each
// turn may be left out. The plate is to lie as at first in the end: the stored
// map holds for that only.
func (j *job) plateTurn(ctx context.Context) error {
	if err := j.begin(record.StepPlateTurn, 0); err != nil {
		return err
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	turned := false
	for _, t := range turns {
		if t.square && !square(j.setup) {
			continue
		}
		a, err := j.question(ctx, record.Question{ID: "plate-turn-" + map[int]string{180: "180", 90: "90"}[t.deg], Text: t.text})
		if err != nil {
			return err
		}
		if !a.Yes {
			continue
		}
		turned = true
		// A plate that was pulled may have moved what carries it.
		j.head.Left()
		if err := j.back(ctx); err != nil {
			return err
		}
		if err := j.head.Level(ctx, false); err != nil {
			return err
		}
		if err := j.keep(record.Event{Laid: &record.Laid{Turned: t.deg}}); err != nil {
			return err
		}
		if err := j.turnedRows(ctx, t.series); err != nil {
			return err
		}
	}
	if !turned {
		return nil
	}
	a, err := j.question(ctx, record.Question{ID: "plate-back",
		Text: "Lay the plate back as it lay first: the bed map holds for that only. Yes when it lies so and your hands are out. The machine may home."})
	if err != nil {
		return err
	}
	if !a.Yes {
		return j.note("the plate was not laid back as it was: the bed map does not hold until it is")
	}
	if err := j.keep(record.Event{Laid: &record.Laid{}}); err != nil {
		return err
	}
	j.head.Over(0)
	return j.back(ctx)
}

// square reports whether a quarter turn of the plate covers the same outline.
func square(s record.Setup) bool { return math.Abs(s.Bed.W()-s.Bed.H()) <= 2 }

// turnedRows touches the plate on its smaller pattern, row by row, always from
// the same side.
func (j *job) turnedRows(ctx context.Context, series record.Series) error {
	rows := j.plan.turnedRows(j.setup)
	room := j.head.told.room(j.log.Run())
	j.meter = newMeter(j.Clock, room.clear(rows))
	j.head.Over(0)
	k := 0
	for i, row := range rows {
		if err := j.line(ctx, row, record.Side{X: -1}, record.Touch{Series: series, Pass: i, Index: k}); err != nil {
			return err
		}
		k += len(row)
	}
	return nil
}

// turnedRows returns the pattern on a turned plate: a good third of the survey's
// touches, on what the probe reaches.
func (p Plan) turnedRows(s record.Setup) [][]record.Place {
	q := p
	q.Columns, q.Rows = p.TurnedColumns, p.TurnedRows
	return q.rows(s)
}
