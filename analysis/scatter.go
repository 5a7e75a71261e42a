package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// steadiness is Stability with what later steps need of it.
type steadiness struct {
	Stability
	// sigma is the standard deviation of one touch with the report step's, mm;
	// dof its degrees of freedom. Always > 0.
	sigma, dof float64
	// measured says that the repeat test was there.
	measured bool
	// drift of the repeat test, and of the survey (base).
	drift, base drifting
	baseLeft    float64
	// survey is the drift as the survey's returns tell it, nil without them.
	survey *Drift
	// play that is taken out of touches whose side is known, mm.
	play [2]float64
}

// unknownScatter stands for the scatter of a touch that nothing tells, mm: the
// largest that the gate would pass is the honest guess.
func unknownScatter(run record.Run) float64 { return math.Max(run.Setup.Criteria.Scatter, 0.001) }

// level returns the height of a touch with side of approach taken out.
func (s steadiness) level(t record.Touch) float64 {
	return t.Z + s.play[0]*float64(t.Side.X)/2 + s.play[1]*float64(t.Side.Y)/2
}

func (s *steadiness) repeatTest(run record.Run) {
	ts := repeats(run)
	s.sigma, s.dof = unknownScatter(run), 1
	s.Step = run.Setup.ReportStep
	s.StepU = s.Step / math.Sqrt(12)
	if len(ts) < fewRepeats {
		s.Touches = len(ts)
		return
	}
	f, kept, odd, ok := fitRepeats(ts, s.Step)
	if !ok {
		return
	}
	s.measured, s.Touches, s.Outliers = true, len(kept), odd
	quick, slow := slowPart(f.Residuals)
	sd := f.S()
	if slow > 0 {
		sd = quick
	}
	sc := deviation(sd, f.DoF, "mm")
	s.Scatter = &sc
	s.sigma, s.dof = math.Max(math.Max(sd, s.StepU), 1e-4), f.DoF
	s.drift = f.drift
	s.Drift = f.report("repeat", s.sigma, slow)
	if span(kept) <= 0 {
		s.Drift, s.drift = nil, drifting{}
	}
	s.firstTouch(ts, f, odd)
	s.plays(f, kept)
}

// touchRow is what the height of a repeat touch is made of beside drift: level
// and the two sides of approach, where both were used.
func touchRow(ts []record.Touch) func(i int) []float64 {
	x, y := bothSides(ts, sideX), bothSides(ts, sideY)
	return func(i int) []float64 {
		row := []float64{1}
		if x {
			row = append(row, -float64(ts[i].Side.X)/2)
		}
		if y {
			row = append(row, -float64(ts[i].Side.Y)/2)
		}
		return row
	}
}

func sideX(t record.Touch) int8 { return t.Side.X }
func sideY(t record.Touch) int8 { return t.Side.Y }

// bothSides says whether touches came from both sides, three times or more
// each: ISO 230-2 takes five.
func bothSides(ts []record.Touch, side func(record.Touch) int8) bool {
	var n [3]int
	for _, t := range ts {
		if s := side(t); s >= -1 && s <= 1 {
			n[s+1]++
		}
	}
	return n[0] >= 3 && n[2] >= 3
}

// fitRepeats fits the repeat test without its first touch, setting aside one
// by one the touches that lie beyond five standard deviations of the others
// (at most a quarter), and lists them.
func fitRepeats(all []record.Touch, step float64) (timed, []record.Touch, []Odd, bool) {
	ts := append([]record.Touch(nil), all[1:]...)
	most := len(ts) / 4
	var odd []Odd
	for {
		f, ok := fitDrift(ts, touchRow(ts), step)
		if !ok {
			return f, ts, odd, false
		}
		worst, off := -1, 0.0
		for i, e := range f.Residuals {
			if math.Abs(e) > math.Abs(off) {
				worst, off = i, e
			}
		}
		limit := math.Max(5*math.Max(fit.MAD(f.Residuals), step/math.Sqrt(12)), 1.5*step)
		if worst < 0 || len(odd) >= most || math.Abs(off) <= limit || math.Abs(off) < 0.003 {
			return f, ts, odd, true
		}
		odd = append(odd, Odd{N: ts[worst].N, Place: ts[worst].Place, Off: off,
			Text: fmt.Sprintf("touch %d of the repeat test lies %s from the others; it was set aside", ts[worst].N, um(off))})
		ts = append(ts[:worst:worst], ts[worst+1:]...)
	}
}

// firstTouch compares the first touch with what the others predict for it.
func (s *steadiness) firstTouch(ts []record.Touch, f timed, odd []Odd) {
	first := append([]record.Touch{ts[0]}, ts[1:]...)
	row := touchRow(first)(0)
	if len(row) != f.terms {
		return
	}
	row = append(row, make([]float64, len(f.Coef)-f.terms)...)
	if f.drift.kind == slope {
		row[f.terms] = ts[0].T - f.drift.t0
	}
	m := measured(ts[0].Z-f.Predict(row), s.sigma*math.Sqrt(1+f.Variance(row)), f.DoF, "mm")
	s.First = &m
}

// touchDoubt returns the standard deviation of one touch, mm.
func touchDoubt(run record.Run) float64 { return steady(run).sigma }
