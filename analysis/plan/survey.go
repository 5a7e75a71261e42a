package plan

import (
	"fmt"
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/model"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// Constants of a planned survey.
const (
	// perWave is how many columns stand on the shortest wave that is to be told:
	// two are the least (Nyquist), four leave something beside a fit.
	perWave = 4
	// leastRows lets the left-right shape of the front be held against that of
	// the back, with a row between, and a bow along Y be told from a slope;
	// rowPitch is the widest distance of rows, mm, at which a height between
	// them can be held against a node of the stored map.
	leastRows = 5
	rowPitch  = 50
	// profileBends is the degree of the polynomial that the profile's doubt is
	// foretold with: as many bends as the fit of the gap error has terms for.
	profileBends = 5
	// mostRows and mostColumns bound what may be set.
	mostRows    = 61
	mostColumns = 61
	// ends is how far the columns are moved from equal distances towards the
	// extremes of a Chebyshev polynomial: the ends of a fit are known worst.
	// Further out the middle would get less than three columns a wave.
	ends = 0.5
	// driftBetween is how many scatters heights may move between two returns.
	driftBetween = 2
)

// SurveyNeed is what a survey is planned for. Lengths are mm.
type SurveyNeed struct {
	// Area is where the probe reaches, Zero the zero place.
	Area record.Rect
	Zero record.Place
	// Scatter is the standard deviation of one touch, DoF its degrees of
	// freedom (0: from nothing, or known beforehand).
	Scatter, DoF float64
	// Drift is by how much heights move from one touch to the next.
	Drift float64
	// Target is the wanted half width of the profile's 95 % interval.
	Target float64
	// Finest is the shortest wave along X that the survey is to show.
	Finest float64
	// Columns, Rows and BaseEvery are given by somebody; 0: to be chosen.
	Columns, Rows, BaseEvery int
	// Even says that the columns stand at equal distances.
	Even bool
}

// SurveyPlan is a survey, and what is expected of it.
type SurveyPlan struct {
	Columns, Rows int
	// BaseEvery is after how many rows the head returns to the base point.
	BaseEvery int
	// Repeats is how many touches stand at one place: one. A second touch costs
	// as much time as another row's, and averages the scatter only, where
	// another row averages the bed's own waves as well.
	Repeats int
	// Touches are all, the returns among them.
	Touches int
	// U95 is the largest half width of the profile's 95 % interval that is
	// expected, against the zero place, mm.
	U95 float64
	// Enough says that U95 is at most what was wanted.
	Enough bool
}

// PlanSurvey chooses columns, rows and returns for the fewest touches:
//
//   - columns for perWave of them on the shortest wave, closer at the ends;
//   - rows until the profile's half width is within the target, at least five
//     and none farther than rowPitch from the next;
//   - a return as often as the heights stay within two scatters in between, and
//     at least four times.
//
// What somebody gave stands as it is.
func PlanSurvey(n SurveyNeed) SurveyPlan {
	p := SurveyPlan{Columns: n.Columns, Rows: n.Rows, Repeats: 1}
	if p.Columns <= 0 {
		p.Columns = min(columnsFor(n.Area.W(), n.Finest), mostColumns)
	}
	if p.Rows <= 0 {
		p.Rows = rowsFor(n.Area.H())
		for p.Rows < mostRows && n.u95(p) > n.Target {
			p.Rows++
		}
	}
	p.U95 = n.u95(p)
	p.Enough = p.U95 <= n.Target
	p.BaseEvery = n.BaseEvery
	if p.BaseEvery <= 0 {
		p.BaseEvery = returnsFor(p, n)
	}
	p.Touches = p.Columns*p.Rows + 1 + (p.Rows+p.BaseEvery-1)/p.BaseEvery
	return p
}

func (n SurveyNeed) u95(p SurveyPlan) float64 {
	at := SurveyColumns(n.Area.X0, n.Area.X1, p.Columns)
	for i := range at {
		if n.Even {
			at[i] = n.Area.X0 + n.Area.W()*float64(i)/float64(max(len(at)-1, 1))
		}
	}
	return ProfileU95(at, p.Rows, n.Area, n.Zero.U, n.Scatter, n.DoF)
}

// columnsFor is how many columns put perWave of them on the finest wave.
func columnsFor(width, finest float64) int {
	return max(leastColumns+2, 1+int(math.Ceil(perWave*width/math.Max(finest, 1)-1e-9)))
}

func rowsFor(height float64) int {
	return min(max(leastRows, 1+int(math.Ceil(height/rowPitch-1e-9))), mostRows)
}

// returnsFor is after how many rows to return to the base point.
func returnsFor(p SurveyPlan, n SurveyNeed) int {
	every := max(1, p.Rows/4)
	if moves := math.Abs(n.Drift) * float64(p.Columns); moves > 0 {
		every = min(every, int(driftBetween*n.Scatter/moves))
	}
	return max(1, every)
}

// SurveyColumns returns n places from lo to hi, half way between equal distances
// and the extremes of a Chebyshev polynomial: closer at the ends, where a fit
// is known worst. Places are to 0.01 mm.
func SurveyColumns(lo, hi float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		x := 0.0 // -1..1
		if n > 1 {
			even := 2*float64(i)/float64(n-1) - 1
			x = (1-ends)*even - ends*math.Cos(math.Pi*float64(i)/float64(n-1))
		}
		out[i] = math.Round(100*(lo+(hi-lo)*(1+x)/2)) / 100
	}
	if n > 0 { // never beyond the reach, not even by a rounding
		out[0], out[n-1] = math.Max(out[0], lo), math.Min(out[n-1], hi)
	}
	return out
}

// ProfileU95 returns the largest half width of the 95 % interval of the left-right
// profile against the zero place that a survey with these columns and so many
// rows gives, mm: k sigma sqrt(c' C c / rows), the largest over the width, with C
// the inverse normal matrix of one row and c the profile's terms at a place less
// those at the zero place.
//
// The profile is a polynomial of the fifth degree, as many bends as the fit of the
// gap error has; its straight line is no part of it, and each row has a level of
// its own. Survey.profile does better where the profile is smoother. It is +Inf
// where the columns cannot tell so many terms. sigma is the scatter of a touch, mm,
// with dof degrees of freedom (0: known beforehand).
func ProfileU95(columns []float64, rows int, area record.Rect, zero, sigma, dof float64) float64 {
	const bends = profileBends
	half := math.Max(area.W()/2, 10)
	row := func(u float64) []float64 {
		return model.Legendres(u, area.Middle().U-half, area.Middle().U+half, bends)
	}
	m := make([][]float64, len(columns))
	for i, u := range columns {
		m[i] = row(u)
	}
	r, err := fit.Least(m, make([]float64, len(m)), nil)
	if err != nil || rows < 1 || r.Rank < bends+1 || r.DoF < 1 {
		return math.Inf(1)
	}
	base, worst := row(zero), 0.0
	for i := range 121 {
		c := row(area.X0 + area.W()*float64(i)/120)
		c[0], c[1] = 0, 0
		for k := 2; k < len(c); k++ {
			c[k] -= base[k]
		}
		worst = math.Max(worst, r.Variance(c))
	}
	if !(dof > 0) {
		dof = math.Inf(1)
	}
	return fit.T95(dof) * sigma * math.Sqrt(worst/float64(rows))
}

// Needs returns what the run so far says of the scatter of a touch: that of the
// repeat test with what the passes wander, and the step of the reports; and
// how far heights move from one touch to the next. ok is false without a repeat
// test that tells it.
func Needs(run record.Run) (scatter, dof, drift float64, ok bool) {
	s := steady.Judge(steady.Clean(run))
	if !s.Tested || s.Scatter == nil {
		return 0, 0, 0, false
	}
	scatter, dof = math.Hypot(s.Scatter.Value, s.StepU), s.Scatter.DoF
	if w := s.Wander; w != nil && w.Between != nil {
		scatter = math.Hypot(scatter, w.Between.Value)
	}
	if d := s.Drift; d != nil && d.Rate != nil {
		drift = d.Rate.Value / 60 * TouchTime(run)
	}
	return scatter, dof, drift, true
}

// Says tells the plan to people.
func (p SurveyPlan) Says() string {
	text := fmt.Sprintf("%d touches in %d columns and %d rows, to know the left-right shape to %s",
		p.Touches, p.Columns, p.Rows, say.PM(p.U95))
	if math.IsInf(p.U95, 0) {
		text = fmt.Sprintf("%d columns and %d rows: too few columns for the shortest wave", p.Columns, p.Rows)
	}
	return text
}
