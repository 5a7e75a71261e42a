package plate

import (
	"math"
	"slices"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// Turned is what the survey and the surveys of the turned plate tell
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
type Turned struct {
	// shape is the plate's S shape along X at its right edge, twist its t s at
	// its back right corner (quarter turn only), mm; stays is what of each the
	// survey holds besides.
	Shape, ShapeStays result.Measured
	Twist, TwistStays *result.Measured
	// slips is the probability of what no plate can do, which the half turn shows, by
	// chance (F test): it did not lie on the same outline, or bent.
	Slips float64
	coef  []float64 // of plateTerms, those that were seen
	mid   record.Place
	h     float64
}

// plateTerms are the shapes of a plate that turns can show, on coordinates -1..1
// about its middle, scaled alike along both axes; the first oddOnes show in half a turn.
func plateTerms(t, s float64) []float64 {
	return []float64{(5*t*t*t - 3*t) / 2, (5*s*s*s - 3*s) / 2, t * t * s, t * s * s, (63*math.Pow(t, 5) - 70*t*t*t + 15*t) / 8, t * s, t*t - s*s}
}

const (
	plateS3    = 0
	plateTwist = 5
	oddOnes    = 5
)

// slipped is the probability below which a turned plate counts as not having
// lain as it should.
const slipped = 0.001

// SeeTurned compares the survey with those of the turned plate; nil without
// both.
func SeeTurned(run record.Run, s steady.Steadiness, sv *steady.Survey) *Turned {
	if sv == nil || !run.Setup.Bed.Valid() {
		return nil
	}
	t := &Turned{mid: run.Setup.Bed.Middle(), h: math.Max(run.Setup.Bed.W(), run.Setup.Bed.H()) / 2}
	rows, even, d := t.differences(run.Of(record.SeriesHalfTurn), s, sv, func(x, y float64) (float64, float64) { return -x, -y })
	if len(d) < 20 {
		return nil
	}
	t.Slips = slips(rows, even, d)
	// A quarter turn counter-clockwise brought here what was at (y, -x).
	more, _, dq := t.differences(run.Of(record.SeriesQuarterTurn), s, sv, func(x, y float64) (float64, float64) { return y, -x })
	n := oddOnes
	if len(dq) >= 20 {
		n = len(more[0]) - 3
		for i := range rows { // each turn has a plane of its own
			rows[i] = append(rows[i], 0, 0, 0)
		}
		for i, q := range more {
			rows, d = append(rows, slices.Concat(q[:n], []float64{0, 0, 0}, q[n:])), append(d, dq[i])
		}
	} else {
		rows = onlyOdd(rows)
	}
	r, err := fit.Least(rows, d, nil)
	if err != nil || r.Rank < len(rows[0]) || r.DoF < 5 {
		return nil
	}
	t.coef = r.Coef[:n]
	t.conclude(sv, r, math.Max(r.S(), s.Sigma))
	return t
}

// differences returns the rows of d(q), the plane last, what is even under half a turn,
// and d; back is R^-1.
func (t *Turned) differences(ts []record.Touch, s steady.Steadiness, sv *steady.Survey, back func(x, y float64) (float64, float64)) (rows, even [][]float64, d []float64) {
	b := sv.Bound().Grown(1)
	for _, q := range steady.InTime(ts) {
		z, _, ok := sv.Near(q.Place, s.Sigma)
		if !ok || !b.Has(q.Place) {
			continue
		}
		x, y := t.on(q.Place)
		row := plateTerms(x, y)
		for i, p := range plateTerms(back(x, y)) {
			row[i] -= p
		}
		rows, even, d = append(rows, append(row, 1, x, y)), append(even, []float64{x * y, x * x, y * y}), append(d, z-s.Level(q))
	}
	return rows, even, d
}

func (t *Turned) on(p record.Place) (x, y float64) {
	return (p.U - t.mid.U) / t.h, (p.V - t.mid.V) / t.h
}

// onlyOdd leaves out the terms that half a turn does not show.
func onlyOdd(rows [][]float64) (out [][]float64) {
	for _, r := range rows {
		out = append(out, slices.Concat(r[:oddOnes], r[len(r)-3:]))
	}
	return out
}

// slips returns the probability of as much of what no plate can do (even under
// half a turn) by chance.
func slips(rows, even [][]float64, d []float64) float64 {
	odd := onlyOdd(rows)
	a, errA := fit.Least(odd, d, nil)
	for i := range odd {
		odd[i] = slices.Concat(odd[i], even[i])
	}
	b, errB := fit.Least(odd, d, nil)
	if errA != nil || errB != nil || b.DoF < 5 || b.RSS <= 0 {
		return 1
	}
	return fit.FTail((a.RSS-b.RSS)/3/(b.RSS/b.DoF), 3, b.DoF)
}

// conclude says each shape of the plate, and what of it stays: the survey's own
// less the plate's.
func (t *Turned) conclude(sv *steady.Survey, r fit.Result, sd float64) {
	t.Shape = result.Of(r.Coef[plateS3], r.U(plateS3, sd), r.DoF, "mm")
	rows := make([][]float64, len(sv.Touches))
	for i, q := range sv.Touches {
		x, y := t.on(q.Place)
		rows[i] = append(plateTerms(x, y), 1, x, y, x*x+y*y)
	}
	all, err := fit.Least(rows, steady.Heights(sv.Touches), nil)
	if err != nil || all.Rank < len(rows[0]) || all.DoF < 5 {
		return
	}
	stays := func(k int) result.Measured {
		return result.Of(all.Coef[k]-r.Coef[k], math.Hypot(all.U(k, all.S()), r.U(k, sd)), r.DoF, "mm")
	}
	t.ShapeStays = stays(plateS3)
	if len(t.coef) > oddOnes {
		m, left := result.Of(r.Coef[plateTwist], r.U(plateTwist, sd), r.DoF, "mm"), stays(plateTwist)
		t.Twist, t.TwistStays = &m, &left
	}
}

// Lay says whether the plate lay as it should.
func (t *Turned) Lay() bool { return t.Slips >= slipped }

// Plate returns the height of the plate's own shape at p as far as the turn showed it,
// mm; 0 without one that lay as it should. The rest of a map is carrier and machine.
func (t *Turned) Plate(p record.Place) (z float64) {
	if t == nil || !t.Lay() {
		return 0
	}
	terms := plateTerms(t.on(p))
	for i, c := range t.coef {
		z += c * terms[i]
	}
	return z
}
