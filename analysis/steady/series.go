package steady

import (
	"cmp"
	"math"
	"slices"

	"abbed/probe/record"
)

// onePlace is how near touches must lie to count as the same place, mm: finer
// than any survey's pitch, coarser than what a report rounds.
const onePlace = 0.3

// repeats returns the touches of the repeat test in time. A file that does not
// say what its touches are for (SeriesGiven) has one where one place was
// touched eight times or more, half of them from one side or in one pass.
func repeats(run record.Run) []record.Touch {
	if ts := run.Of(record.SeriesRepeat); len(ts) > 0 {
		return InTime(ts)
	}
	var best []record.Touch
	for _, group := range byPlace(run.Of(record.SeriesGiven)) {
		if len(group) > len(best) {
			best = group
		}
	}
	if len(best) < fewRepeats {
		return nil
	}
	return InTime(best)
}

// fewRepeats is the least number of repeats at one place that make a repeat
// test: below it a standard deviation is known to no better than 30 %.
const fewRepeats = 8

// surveyed returns the touches of the survey in time. In a file that does not
// say what its touches are for, it is everything.
func surveyed(run record.Run) []record.Touch {
	if ts := run.Of(record.SeriesSurvey); len(ts) > 0 {
		return InTime(ts)
	}
	return InTime(run.Of(record.SeriesGiven))
}

func InTime(ts []record.Touch) []record.Touch {
	slices.SortStableFunc(ts, func(a, b record.Touch) int {
		switch {
		case a.T != b.T:
			return cmp.Compare(a.T, b.T)
		default:
			return int(a.N - b.N)
		}
	})
	return ts
}

// byPlace groups touches by place, in the order of their first touch.
func byPlace(ts []record.Touch) [][]record.Touch {
	type cell struct{ u, v int64 }
	at := map[cell]int{}
	var out [][]record.Touch
	for _, t := range ts {
		c := cell{int64(math.Round(t.Place.U / onePlace)), int64(math.Round(t.Place.V / onePlace))}
		i, there := at[c]
		for du := int64(-1); !there && du <= 1; du++ {
			for dv := int64(-1); !there && dv <= 1; dv++ {
				if j, near := at[cell{c.u + du, c.v + dv}]; near && out[j][0].Place.Distance(t.Place) <= onePlace {
					i, there = j, true
				}
			}
		}
		if !there {
			i = len(out)
			at[c] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], t)
	}
	return out
}

// span returns the time from the first touch to the last, s.
func span(ts []record.Touch) float64 {
	if len(ts) < 2 {
		return 0
	}
	return ts[len(ts)-1].T - ts[0].T
}

func Heights(ts []record.Touch) []float64 {
	z := make([]float64, len(ts))
	for i, t := range ts {
		z[i] = t.Z
	}
	return z
}

// Cluster returns the distinct values of v, those nearer than gap being one
// (their mean), from the smallest, and for each v which it is.
func Cluster(v []float64, gap float64) (centres []float64, which []int) {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	which = make([]int, len(v))
	var sum, n float64
	for k, i := range order {
		if k == 0 || v[i]-v[order[k-1]] > gap {
			centres = append(centres, 0)
			sum, n = 0, 0
		}
		sum, n = sum+v[i], n+1
		which[i] = len(centres) - 1
		centres[which[i]] = sum / n
	}
	return centres, which
}

// Apart is how far places must lie from each other to count as two columns or
// rows, mm.
const Apart = 8
