package steady

import (
	"fmt"
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/config/say"
	"abbed/probe/record"
)

// Steadiness is Stability with what later steps need of it.
type Steadiness struct {
	Stability
	// sigma is the standard deviation of one touch with the report step's, mm;
	// dof its degrees of freedom. Always > 0.
	Sigma, dof float64
	// tested says that the repeat test was there.
	Tested bool
	// drift of the repeat test, and of the survey (base).
	drift, base drifting
	BaseLeft    float64
	// passRate is the drift from the last pass but one over the row to the
	// last, nil without them.
	passRate *result.Measured
	// survey is the drift as the survey's returns tell it, nil without them.
	Survey *Drift
	// passed is how many touches the passes over the row have.
	passed int
	// returned is how many returns to the base point were not set aside.
	returned int
	// pace is how long a touch took against the usual, at most 1.
	pace float64
	// play that is taken out of touches whose side is known, mm.
	play [2]float64
}

// unknownScatter stands for the scatter of a touch that nothing tells, mm: the
// largest that the gate would pass is the honest guess.
func unknownScatter(run record.Run) float64 { return math.Max(run.Setup.Criteria.Scatter, 0.001) }

// Level returns the height of a touch with side of approach taken out.
func (s Steadiness) Level(t record.Touch) float64 {
	return t.Z + s.play[0]*float64(t.Side.X)/2 + s.play[1]*float64(t.Side.Y)/2
}

// UsualTouch is how long a touch takes on a usual desktop printer, s (common
// practice, no source).
const UsualTouch = 3.5

// paceOf returns how long the touches took against the usual, at most 1.
func paceOf(ts []record.Touch) float64 {
	if len(ts) < 2 {
		return 1
	}
	return math.Min(1, (ts[len(ts)-1].T-ts[0].T)/(UsualTouch*float64(len(ts)-1)))
}

func (s *Steadiness) repeatTest(run record.Run) {
	ts := repeats(run)
	s.pace = paceOf(ts)
	s.Sigma, s.dof = unknownScatter(run), 1
	s.Step = run.Setup.ReportStep
	s.StepU = s.Step / math.Sqrt(12)
	if len(ts) < fewRepeats {
		s.Touches = len(ts)
		return
	}
	f, kept, odd, ok := fitRepeats(ts, s.Step, run.Setup.Criteria.Scatter)
	if !ok {
		return
	}
	s.Tested, s.Touches, s.Outliers = true, len(kept), odd
	quick, slow := slowLeft(kept, f)
	sd := f.S()
	if slow > 0 {
		sd = quick
	}
	sc := result.Deviation(sd, f.DoF, "mm")
	s.Scatter = &sc
	s.Sigma, s.dof = math.Max(math.Max(sd, s.StepU), 1e-4), f.DoF
	s.drift = f.drift
	s.Drift = f.report("repeat", s.Sigma, slow)
	if span(kept) <= 0 {
		s.Drift, s.drift = nil, drifting{}
	}
	s.firstTouch(ts, f, odd)
	s.plays(f, kept)
}

// slowLeft splits what the fit leaves into quick scatter and slow movement. A
// false alarm (z > 2.5, p = 0.006) costs nothing, since what it calls slow is
// small. Where the heights without any drift model certainly move slowly
// (z > 4), the model is on trial and not chance: one standard deviation will do.
func slowLeft(kept []record.Touch, f timed) (quick, slow float64) {
	beyond := 2.5
	base := touchRow(kept)
	rows := make([][]float64, len(kept))
	for i := range kept {
		rows[i] = base(i)
	}
	if r, err := fit.Least(rows, Heights(kept), nil); err == nil {
		if _, moved := slowPart(r.Residuals, 4); moved > 0 {
			beyond = 1
		}
	}
	return slowPart(f.Residuals, beyond)
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

// fitRepeats fits the repeat test without its first touch, setting aside the
// touches that lie beyond five standard deviations of a robust fit (Huber's;
// at most a quarter of all), and lists them. What is within three times the
// scatter that is allowed is never set aside: a probe must not be made better
// than it is by its own bad touches.
func fitRepeats(all []record.Touch, step, scatter float64) (timed, []record.Touch, []Odd, bool) {
	ts := append([]record.Touch(nil), all[1:]...)
	off := robustRest(ts)
	limit := max(5*fit.MAD(off), 1.5*step, 3*scatter)
	var odd []Odd
	kept := ts[:0:0]
	for i, t := range ts {
		if !alone(off, i, limit) || 4*len(odd) >= len(ts) {
			kept = append(kept, t)
			continue
		}
		odd = append(odd, Odd{N: t.N, Place: t.Place, Off: off[i],
			Text: fmt.Sprintf("touch %d of the repeat test lies %s from the others; it was set aside", t.N, say.Fine(off[i]))})
	}
	f, ok := fitDrift(kept, touchRow(kept), step, 0, 0)
	return f, kept, odd, ok
}

// alone says whether touch i lies beyond the limit, from zero and from the
// median of the five touches around it in time: a swing takes its neighbours
// along.
func alone(off []float64, i int, limit float64) bool {
	around := fit.Median(off[max(0, i-2):min(len(off), i+3)])
	return math.Abs(off[i]) > limit && math.Abs(off[i]-around) > limit
}

// robustRest returns what a robust fit of level, sides and a slope in time
// leaves of each touch.
func robustRest(ts []record.Touch) []float64 {
	base := touchRow(ts)
	rows := make([][]float64, len(ts))
	for i, t := range ts {
		rows[i] = base(i)
		if span(ts) > 0 {
			rows[i] = append(rows[i], (t.T-ts[0].T)/span(ts))
		}
	}
	r, _, err := fit.Huber(rows, Heights(ts))
	if err != nil {
		return make([]float64, len(ts))
	}
	return r.Residuals
}

// firstTouch compares the first touch with what the others predict for it.
func (s *Steadiness) firstTouch(ts []record.Touch, f timed, odd []Odd) {
	first := append([]record.Touch{ts[0]}, ts[1:]...)
	row := touchRow(first)(0)
	if len(row) != f.terms {
		return
	}
	row = append(row, make([]float64, len(f.Coef)-f.terms)...)
	if f.drift.kind == Slope {
		row[f.terms] = ts[0].T - f.drift.t0
	}
	m := result.Of(ts[0].Z-f.Predict(row), s.Sigma*math.Sqrt(1+f.Variance(row)), f.DoF, "mm")
	s.First = &m
}
