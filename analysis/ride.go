package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// Ride is whether the survey tells of a carriage that rides otherwise each
// time: touches that lie off their neighbours, the row of the repeat test
// touched again, and a period.
type Ride struct {
	// Touches is how many touches of the survey were judged, Off how many lie
	// off their neighbours beyond chance (4.5 robust standard deviations) and
	// by most of what may wander; Low of them lie below. Stray ones are not
	// among them: they stand alone, farther off than flats do.
	Touches int `json:"touches"`
	Off     int `json:"off"`
	Low     int `json:"low"`
	Stray   int `json:"stray"`
	// Again is how many touches of the survey and of the gauging's pairs stand
	// on the row that the repeat test passed, AgainOff how many of them the
	// passes do not bear out.
	Again    int `json:"again"`
	AgainOff int `json:"again_off"`
	// Wanders is the period of what differs from row to row and from pass to
	// pass, Stays that of what does not (a ripple of beam or bed); nil where
	// none stands out of chance.
	Wanders *Period `json:"wanders"`
	Stays   *Period `json:"stays"`
	// Suspect says that touches do not fit with each other beyond chance, and
	// that it is not proven whether the bed or the carriage does it.
	Suspect bool `json:"suspect"`

	sides sides
	some  sides // beyond three standard deviations
	worn  bool
}

// Shares from which touches off their neighbours are no chance: with touches of
// every size up to 0.3 mm, off on either side in one of fifty, one run of 600
// has as many on one side (binomial); flats of 0.04 mm put one touch in fifteen
// off (TestRide).
const (
	shareOff = 0.015
	// shareBoth and manyOff are for touches that lie off on both sides, as stray
	// ones do, and the ridges of a rough plate (up to seven of 175 on a real one
	// magnified to 0.25 mm); only flats that hardly slip, which the columns follow,
	// give so many. Where the passes too tell of some, a few less will do.
	shareBoth = 0.05
	manyOff   = 9
	shareSome = 0.04
	someOff   = 7
	// aloneP is for the survey alone, where no pass and no place found again tells of
	// any: the ridges of a rough plate lie on one side as often as stray touches do
	// (seven of seven, ten of eleven).
	aloneP = 0.02
	// worthOff is the share of what may wander from which a touch can be off:
	// flats of twice what may wander then show in one touch of ten.
	worthOff = 0.8
)

// ride judges the survey's touches against each other and against the passes.
func (s *steadiness) ride(run record.Run) {
	ts := surveyed(run)
	if len(run.Of(record.SeriesSurvey)) == 0 {
		return
	}
	for i := range ts {
		ts[i].Z = s.level(ts[i]) - s.base.at(ts[i].T)
	}
	v := &survey{touches: ts}
	v.arrange()
	if len(v.columns) < 8 || len(v.rows) < 3 || len(ts) < 3*(len(v.columns)+len(v.rows)) {
		return
	}
	c := run.Setup.Criteria
	v.thin()
	rest := v.local()
	r := &Ride{Touches: len(v.touches)}
	flat := v.calm(rest)
	sigma := math.Max(fit.MAD(v.quick(rest)), s.StepU)
	limit := math.Max(4.5*sigma, worthOff*c.Wander)
	for i, e := range flat {
		if math.Abs(e) > math.Max(3*sigma, worthOff*c.Wander) {
			r.some.count(e, farOff*c.Wander)
		}
		if math.Abs(e) > limit && !r.sides.count(e, farOff*c.Wander) {
			rest[i] -= e
			v.touches[i].Z -= e
		}
	}
	r.Off, r.Low, r.Stray = r.sides.n(), r.sides.low, r.sides.far
	ps := s.calmPasses(run)
	s.again(run, v, ps, r, limit)
	rows := v.lines(rest)
	if len(ps.z) >= 2 && len(ps.x) >= 20 {
		for _, e := range ps.off(mean) {
			rows = append(rows, line{ps.x, e})
		}
	}
	r.Wanders = findPeriod(rows, c)
	if r.Wanders != nil && r.Wanders.Amplitude < c.Wander/4 {
		r.Wanders = nil
	}
	r.Stays = findPeriod(v.standing(ps), c)
	r.Wanders.hold(ps)
	r.Stays.hold(ps)
	r.judge(c, s.dips)
	s.Ride = r
	s.rideWears()
}

// enoughRows is how many rows tell of the ride; of more, every so many are
// looked at, since the time grows with them.
const enoughRows = 15

// thin keeps at most enoughRows rows, evenly.
func (v *survey) thin() {
	every := (len(v.rows) + enoughRows - 1) / enoughRows
	if every < 2 {
		return
	}
	kept := v.touches[:0:0]
	for i, t := range v.touches {
		if v.row[i]%every == 0 {
			kept = append(kept, t)
		}
	}
	v.touches = kept
	v.arrange()
}

// judge weighs the signs: touches off their neighbours in the survey and in the
// passes, places found at another height later, a period. Each alone may be the
// bed's (marks a few mm wide); two together are the carriage. Suspect is where
// as many touches lie off on one side more than on the other as chance does not
// give (two standard deviations of stray touches on either side, and four), or
// a period with some, or where the passes differ at two places a few mm wide, or
// at one and the survey leans.
func (r *Ride) judge(c record.Criteria, d dips) {
	share := float64(r.Off) / float64(r.Touches)
	moved := r.AgainOff + d.wide.n() + d.lone.n() + d.pair
	leans := share >= shareOff && r.sides.leaning()
	alone := leans && r.sides.chance() <= aloneP || r.Off >= manyOff && share >= shareBoth
	off := alone || moved > 0 && (leans || r.Off >= someOff && share >= shareSome)
	periodic := r.Wanders != nil && r.Wanders.Name == wheel && r.Wanders.Amplitude > c.Wander/4
	r.worn = off && (periodic && moved > 0 || r.AgainOff >= 2) || periodic && r.AgainOff >= 3
	all := r.sides.and(d.lone)
	// Many places at another height later may be a drift: two of them count.
	excess := float64(all.most() - all.least() + min(r.AgainOff, 2) + 2*d.wide.n())
	many := moved > 0 && excess >= 4 && excess >= 2*math.Sqrt(float64(all.n()))
	slipped := d.pair >= 2 || d.pair == 1 && r.some.most()-r.some.least() >= 2
	r.Suspect = !r.worn && (off || many || slipped || periodic && excess >= 2)
}

// rideWears lets what the survey tells fail the gate of wandering.
func (s *steadiness) rideWears() {
	if s.Wander != nil && s.Ride.worn {
		s.Wander.fired = true
	}
}

// Says is the evidence in words, empty where there is none.
func (r Ride) Says() string {
	var parts []string
	if r.Off > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d touches of the survey lie off their neighbours (%d of them below)", r.Off, r.Touches, r.Low))
	}
	if r.Stray > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d stand alone, far off: stray touches, set aside", r.Stray, r.Touches))
	}
	if r.AgainOff > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d places of the passed row were found at another height later", r.AgainOff, r.Again))
	}
	if r.Wanders != nil && r.Wanders.Name != "" {
		parts = append(parts, "what differs from row to row has "+r.Wanders.says()+"; "+r.Wanders.phase())
	}
	if r.Stays != nil && r.Stays.Name != "" {
		parts = append(parts, "what stays has "+r.Stays.says()+"; "+r.Stays.phase())
	}
	if len(parts) == 0 {
		return ""
	}
	return capital(strings.Join(parts, "; ")) + "."
}

// local returns what the touches leave of column + row + the smooth
// interaction t s, t^2 s, t s^2, t^2 s^2, t^3 s, each found robustly: column
// and row medians by turns, then Huber's fit.
func (v *survey) local() []float64 {
	rest := heights(v.touches)
	sweep := func(at []int, n int) {
		groups, m := make([][]float64, n), make([]float64, n)
		for k := range groups {
			groups[k] = make([]float64, 0, 2*len(at)/n)
		}
		for i, k := range at {
			groups[k] = append(groups[k], rest[i])
		}
		for k := range groups {
			m[k] = fit.Median(groups[k])
		}
		for i, k := range at {
			rest[i] -= m[k]
		}
	}
	terms := v.interacting()
	for range 3 {
		sweep(v.row, len(v.rows))
		sweep(v.col, len(v.columns))
		if f, ok := robustly(terms, rest); ok {
			rest = f
		}
	}
	return rest
}

// interacting returns the terms of the smooth interaction at each touch: 1, t s,
// t^2 s, t s^2, t^2 s^2, t^3 s on the survey's own rectangle.
func (v *survey) interacting() [][]float64 {
	b := v.bound()
	terms := make([][]float64, len(v.touches))
	for i, p := range v.touches {
		t := 2*(p.Place.U-b.X0)/math.Max(b.W(), 1) - 1
		s := 2*(p.Place.V-b.Y0)/math.Max(b.H(), 1) - 1
		terms[i] = []float64{1, t * s, t * t * s, t * s * s, t * t * s * s, t * t * t * s}
	}
	return terms
}

// robustly fits twice, the second time without what the first leaves beyond
// four robust standard deviations.
func robustly(rows [][]float64, y []float64) (rest []float64, ok bool) {
	if rest, ok = left(rows, y, nil); !ok {
		return nil, false
	}
	w := make([]float64, len(y))
	limit := 4 * fit.MAD(rest)
	for i, e := range rest {
		if math.Abs(e) <= limit {
			w[i] = 1
		}
	}
	return left(rows, y, w)
}

// mostCondition is that of the normal equations up to which the rows are held to tell
// the terms apart: half of the digits.
const mostCondition = 1e8

// left returns what a fit of all terms leaves; ok is false where the rows do not
// tell them apart.
func left(rows [][]float64, y, w []float64) (rest []float64, ok bool) {
	p := len(rows[0])
	x, z := mat.NewDense(len(rows), p, nil), mat.NewVecDense(len(y), nil)
	for i, row := range rows {
		k := 1.0
		if w != nil {
			k = math.Sqrt(w[i])
		}
		for j, v := range row {
			x.Set(i, j, k*v)
		}
		z.SetVec(i, k*y[i])
	}
	normal := mat.NewSymDense(p, nil)
	normal.SymOuterK(1, x.T())
	var moment, b mat.VecDense
	moment.MulVec(x.T(), z)
	var chol mat.Cholesky
	if !chol.Factorize(normal) || chol.Cond() > mostCondition || chol.SolveVecTo(&b, &moment) != nil {
		return nil, false
	}
	rest = make([]float64, len(y))
	for i, row := range rows {
		rest[i] = y[i]
		for k, x := range row {
			rest[i] -= b.AtVec(k) * x
		}
	}
	return rest, true
}

// nearRow is how far from the row of the passes a touch may lie to count as on
// it, mm.
const nearRow = 8

// again compares the survey's touches and the gauging's pairs on the row of the
// passes with the median of the passes there, a line through all differences
// taken out.
func (s *steadiness) again(run record.Run, v *survey, ps passes, r *Ride, limit float64) {
	if len(ps.z) < 2 || len(ps.x) < 8 {
		return
	}
	rowAt := rowTouches(run)[0].Place.V
	ts := slices.Clone(v.touches)
	for _, t := range run.Of(record.SeriesPair) {
		t.Z = s.level(t)
		ts = append(ts, t)
	}
	var x, d []float64
	for _, group := range byPlace(ts) {
		p := group[0].Place
		if math.Abs(p.V-rowAt) > nearRow || p.U < ps.x[0] || p.U > ps.x[len(ps.x)-1] {
			continue
		}
		x, d = append(x, p.U), append(d, fit.Median(heights(group))-ps.at(p.U))
	}
	if len(d) < 5 {
		return
	}
	k, ok := fit.TheilSen(x, d)
	if !ok {
		return
	}
	for i := range d {
		d[i] -= k * (x[i] - x[0])
	}
	m := fit.Median(d)
	r.Again = len(d)
	for i := range d {
		if off := math.Abs(d[i] - m); off > limit && off <= farOff*run.Setup.Criteria.Wander {
			r.AgainOff++
		}
	}
}

// at returns the median of the passes at x, linear between places.
func (ps passes) at(x float64) float64 {
	height := func(j int) float64 {
		zs := make([]float64, len(ps.z))
		for p := range ps.z {
			zs[p] = ps.z[p][j]
		}
		return fit.Median(zs)
	}
	i, exact := slices.BinarySearch(ps.x, x)
	if exact || i == 0 {
		return height(i)
	}
	k := (x - ps.x[i-1]) / (ps.x[i] - ps.x[i-1])
	return (1-k)*height(i-1) + k*height(i)
}
