package steady

import (
	"math"

	"abbed/analysis/fit"
	"abbed/config/say"
	"abbed/probe/record"
)

// returns judges the drift during the survey by its returns to the base point,
// and replaces the repeat test's Drift in what is said, since it is the longer
// record. A movement between returns that neither slope nor settling explains
// is irregular: beyond scatter by F at p < 0.002.
func (s *Steadiness) returns(run record.Run) {
	ts := InTime(run.Of(record.SeriesBase))
	if len(ts) < 4 || span(ts) <= 0 {
		return
	}
	ts = withoutOdd(ts, s)
	s.returned = len(ts)
	known := 0.0
	if s.Tested {
		known = s.Sigma
	}
	f, ok := fitDrift(ts, func(int) []float64 { return []float64{1} }, s.Step, known, s.dof)
	if !ok {
		return
	}
	ms := f.RSS / f.DoF
	slow := 0.0
	if fit.FTail(ms/(s.Sigma*s.Sigma), f.DoF, s.dof) < 0.002 {
		slow = math.Sqrt(math.Max(ms-s.Sigma*s.Sigma, 0))
	}
	s.base = f.drift
	d := f.report("base", s.Sigma, slow)
	s.BaseLeft = d.Left
	s.Survey = d
}

// withoutOdd corrects the touches for play and leaves out those that lie
// beyond six standard deviations of a robust line through all.
func withoutOdd(ts []record.Touch, s *Steadiness) []record.Touch {
	t, z := make([]float64, len(ts)), make([]float64, len(ts))
	for i := range ts {
		ts[i].Z = s.Level(ts[i])
		t[i], z[i] = ts[i].T-ts[0].T, ts[i].Z
	}
	if len(ts) > 300 { // pairs grow with the square; so many returns need no robust line
		return ts
	}
	k, ok := fit.TheilSen(t, z)
	if !ok {
		return ts
	}
	rest := make([]float64, len(ts))
	for i := range ts {
		rest[i] = z[i] - k*t[i]
	}
	m, limit := fit.Median(rest), 6*math.Max(fit.MAD(rest), s.Sigma)
	out := ts[:0:0]
	for i := range ts {
		if math.Abs(rest[i]-m) <= limit {
			out = append(out, ts[i])
			continue
		}
		s.Outliers = append(s.Outliers, Odd{N: ts[i].N, Place: ts[i].Place, Off: rest[i] - m,
			Text: "this return to the base point lies " + say.Fine(rest[i]-m) + " from the others; it was set aside"})
	}
	return out
}
