package analysis

import (
	"math"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// turnedSeen is what the survey and the surveys of the turned plate tell
// together. With the plate's own height p and everything that stays (carrier,
// straightness, head) h the survey is p(q) + h(q), a survey of the plate turned
// by R is p(R^-1 q) + h(q) and a plane, since a plate never lies twice alike;
// the difference is
//
//	d(q) = p(q) - p(R^-1 q) + plane
//
// so that half a turn shows what of p is odd under it, and a quarter turn t s
// and t^2 - s^2 besides; tilts stay with the carrier. Neither shows whether what
// stays is carrier, straightness or tilt of the head (reversal: Evans, Hocken,
// Estler, CIRP Annals 45/2, 1996; from memory).
type turnedSeen struct {
	half, quarter bool
	// shape is the plate's S shape along X at its right edge, twist its t s at
	// its back right corner (quarter turn only), mm; stays is what of each the
	// survey holds besides.
	shape, shapeStays Measured
	twist, twistStays *Measured
	// slips says that the half turn shows what no plate can do (p of the F
	// test): it did not lie on the same outline, or bent.
	slips float64
	coef  []float64 // of plateTerms, in order; 0 where not seen
	cov   [][]float64
	mid   record.Place
	h     float64
}

// plateTerms are the shapes of a plate that turns can show, on coordinates -1..1
// about its middle, scaled alike along both axes.
var plateTerms = []func(t, s float64) float64{
	func(t, _ float64) float64 { return (5*t*t*t - 3*t) / 2 },
	func(_, s float64) float64 { return (5*s*s*s - 3*s) / 2 },
	func(t, s float64) float64 { return t * t * s },
	func(t, s float64) float64 { return t * s * s },
	func(t, _ float64) float64 { return (63*math.Pow(t, 5) - 70*t*t*t + 15*t) / 8 },
	func(t, s float64) float64 { return t * s },
	func(t, s float64) float64 { return t*t - s*s },
}

// Which of plateTerms is which.
const (
	plateS3    = 0
	plateT5    = 4
	plateTwist = 5
	oddOnes    = 5 // those that half a turn shows
)

// slipped is the probability below which a turned plate counts as not having
// lain as it should.
const slipped = 0.001

// seeTurned compares the survey with those of the turned plate; nil without
// both.
func seeTurned(run record.Run, s steadiness, sv *survey) *turnedSeen {
	if sv == nil || !run.Setup.Bed.Valid() {
		return nil
	}
	t := &turnedSeen{mid: run.Setup.Bed.Middle(), h: math.Max(run.Setup.Bed.W(), run.Setup.Bed.H()) / 2, slips: 1}
	half := t.differences(run.Of(record.SeriesHalfTurn), s, sv, 2)
	quarter := t.differences(run.Of(record.SeriesQuarterTurn), s, sv, 1)
	t.half, t.quarter = len(half.y) >= 20, len(quarter.y) >= 20
	if !t.half {
		return nil
	}
	n := oddOnes
	if t.quarter {
		n = len(plateTerms)
	} else {
		quarter = turnedRows{}
	}
	var rows [][]float64
	var y []float64
	for k, part := range []turnedRows{half, quarter} {
		for i := range part.y {
			row := make([]float64, n+6)
			copy(row, part.rows[i][:n])
			copy(row[n+3*k:], part.plane[i])
			if !t.quarter {
				row = row[:n+3]
			}
			rows, y = append(rows, row), append(y, part.y[i])
		}
	}
	r, err := fit.Least(rows, y, nil)
	if err != nil || r.Rank < len(rows[0]) || r.DoF < 5 {
		return nil
	}
	t.slips = half.slips(n)
	sd := math.Max(r.S(), s.sigma)
	t.coef = r.Coef[:n]
	t.cov = make([][]float64, n)
	for i := range n {
		for j := range n {
			t.cov[i] = append(t.cov[i], sd*sd*r.Unscaled.At(i, j))
		}
	}
	t.conclude(sv, r.DoF)
	return t
}

// turnedRows are the differences of one turn with their design.
type turnedRows struct {
	rows, plane, even [][]float64
	y                 []float64
}

// differences returns d(q) for a plate turned by so many quarters; turns is 2
// for half a turn, 1 for a quarter counter-clockwise.
func (t *turnedSeen) differences(ts []record.Touch, s steadiness, sv *survey, quarters int) turnedRows {
	var d turnedRows
	b := sv.bound().Grown(1)
	for _, q := range inTime(ts) {
		if !b.Has(q.Place) {
			continue
		}
		z, _, ok := sv.near(q.Place, s.sigma)
		if !ok {
			continue
		}
		x, y := (q.Place.U-t.mid.U)/t.h, (q.Place.V-t.mid.V)/t.h
		// R^-1: half a turn is its own inverse; a quarter turn counter-clockwise
		// brought here what was at (y, -x).
		bx, by := -x, -y
		if quarters == 1 {
			bx, by = y, -x
		}
		row := make([]float64, len(plateTerms))
		for i, f := range plateTerms {
			row[i] = f(x, y) - f(bx, by)
		}
		d.rows = append(d.rows, row)
		d.plane = append(d.plane, []float64{1, x, y})
		d.even = append(d.even, []float64{x * y, x * x, y * y})
		d.y = append(d.y, z-s.level(q))
	}
	return d
}

// slips returns the probability of as much of what no plate can do (even under
// half a turn) by chance.
func (d turnedRows) slips(n int) float64 {
	odd, all := make([][]float64, len(d.y)), make([][]float64, len(d.y))
	for i := range d.y {
		odd[i] = append(append([]float64(nil), d.rows[i][:oddOnes]...), d.plane[i]...)
		all[i] = append(append([]float64(nil), odd[i]...), d.even[i]...)
	}
	a, errA := fit.Least(odd, d.y, nil)
	b, errB := fit.Least(all, d.y, nil)
	if errA != nil || errB != nil || b.DoF < 5 || b.RSS <= 0 {
		return 1
	}
	return fit.FTail((a.RSS-b.RSS)/3/(b.RSS/b.DoF), 3, b.DoF)
}

// conclude says each shape of the plate, and what of it stays: the survey's own
// less the plate's.
func (t *turnedSeen) conclude(sv *survey, dof float64) {
	t.shape = measured(t.coef[plateS3], math.Sqrt(t.cov[plateS3][plateS3]), dof, "mm")
	n := len(plateTerms)
	rows := make([][]float64, len(sv.touches))
	for i, q := range sv.touches {
		x, y := (q.Place.U-t.mid.U)/t.h, (q.Place.V-t.mid.V)/t.h
		rows[i] = make([]float64, n, n+4)
		for k, f := range plateTerms {
			rows[i][k] = f(x, y)
		}
		rows[i] = append(rows[i], 1, x, y, x*x+y*y)
	}
	r, err := fit.Least(rows, heights(sv.touches), nil)
	if err != nil || r.Rank < n+4 || r.DoF < 5 {
		return
	}
	stays := func(k int) Measured {
		return measured(r.Coef[k]-t.coef[k], math.Hypot(r.U(k, r.S()), math.Sqrt(t.cov[k][k])), dof, "mm")
	}
	t.shapeStays = stays(plateS3)
	if t.quarter {
		m := measured(t.coef[plateTwist], math.Sqrt(t.cov[plateTwist][plateTwist]), dof, "mm")
		left := stays(plateTwist)
		t.twist, t.twistStays = &m, &left
	}
}

// lay says whether the plate lay as it should.
func (t *turnedSeen) lay() bool { return t.slips >= slipped }

// plate returns the height of the plate's own shape at p as far as the turn showed it,
// mm; 0 without one that lay as it should. The rest of a map is carrier and machine.
func (t *turnedSeen) plate(p record.Place) float64 {
	if t == nil || !t.lay() {
		return 0
	}
	x, y, z := (p.U-t.mid.U)/t.h, (p.V-t.mid.V)/t.h, 0.0
	for i, c := range t.coef {
		z += c * plateTerms[i](x, y)
	}
	return z
}
