package plan

import (
	"abbed/analysis/fit"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// usualRecord is how long a record at the blade takes, with its paired touches and
// the way there, s (common practice, no source).
const usualRecord = 75

// TouchTime returns how long one touch takes on this machine, s: the median of
// those of the repeat test and of its row; the usual time without them.
func TouchTime(run record.Run) float64 {
	var d []float64
	for _, s := range []record.Series{record.SeriesRepeat, record.SeriesRow} {
		ts := run.Of(s)
		for i := 1; i < len(ts); i++ {
			if step := ts[i].T - ts[i-1].T; step > 0 && step < 60 {
				d = append(d, step)
			}
		}
	}
	if len(d) < 5 {
		return steady.UsualTouch
	}
	return fit.Median(d)
}

// RecordTime returns how long one record at the blade takes this person, s: the
// median between one record and the next, pauses among them; the usual time before
// the third.
func RecordTime(run record.Run) float64 {
	var d []float64
	for i := 1; i < len(run.Gaugings); i++ {
		if step := run.Gaugings[i].T - run.Gaugings[i-1].T; step > 0 {
			d = append(d, step)
		}
	}
	if len(d) < 2 {
		return usualRecord
	}
	return fit.Median(d)
}
