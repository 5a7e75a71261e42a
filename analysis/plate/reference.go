package plate

import (
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/probe/record"
)

// Reference is what the touches along a straight reference tell: the bend
// of EZX + D along X, without the bed, up to a tilt.
type Reference struct {
	record.Reference
	// columns are minus the bend of EZX + D, as a map shows it; U holds the touches' doubt
	// and the reference's own.
	Columns []steady.Effect
	// bow is the middle of the machine's bend against its ends, mm; bed the same
	// of the bed beneath, from the survey less the reference; nil without one.
	Bow result.Measured
	Bed *result.Measured
}

// SeeReference takes the passes over the last reference apart; nil without
// one, or with fewer than five columns passed twice.
func SeeReference(run record.Run, s steady.Steadiness, sv *steady.Survey) *Reference {
	var r *Reference
	since := int64(0)
	for _, l := range run.Laid {
		if l.Reference != nil {
			r, since = &Reference{Reference: *l.Reference}, l.N
		}
	}
	if r == nil {
		return nil
	}
	ts := result.Keep(run.Of(record.SeriesReference), func(t record.Touch) bool {
		return (t.N == 0 || t.N > since) && math.Abs(t.Z-r.Thickness) < math.Abs(t.Z)
	})
	var us []float64
	passes := 0
	for _, t := range ts {
		us, passes = append(us, t.Place.U), max(passes, t.Pass+1)
	}
	at, col := steady.Cluster(us, 0.75)
	if len(at) < 5 || passes < 2 || len(ts) < 2*len(at) {
		return nil
	}
	// Passes differ by drift: one constant each, beside one height a column.
	rows, z := make([][]float64, len(ts)), make([]float64, len(ts))
	for i, t := range ts {
		rows[i], z[i] = make([]float64, len(at)+passes-1), s.Level(t)
		rows[i][col[i]] = 1
		if t.Pass > 0 {
			rows[i][len(at)+t.Pass-1] = 1
		}
	}
	f, err := fit.Least(rows, z, nil)
	if err != nil || f.Rank < len(rows[0]) || f.DoF < 3 {
		return nil
	}
	noise := math.Max(f.S(), s.Sigma/2)
	// The reference's own bend: a zone of the width Straight, evenly filled (JCGM 100:2008, 4.3.7).
	straight := r.Straight / math.Sqrt(12)
	var mach, bed, um, ub []float64
	for i, c := range steady.Effects(at, f.Coef[:len(at)], counts(col, len(at)), noise) {
		if sv != nil {
			if h, u, ok := sv.Near(record.Place{U: at[i], V: r.Y}, s.Sigma); ok {
				bed, ub = append(bed, h-c.Effect), append(ub, math.Hypot(u, c.U))
			}
		}
		mach, um = append(mach, c.Effect), append(um, c.U)
		c.U = math.Hypot(c.U, straight)
		r.Columns = append(r.Columns, c)
	}
	r.Bow, _ = bowOf(at, mach, um, f.DoF, straight)
	if m, ok := bowOf(at, bed, ub, f.DoF, straight); ok {
		r.Bed = &m
	}
	return r
}

// counts is how often each of n numbers comes.
func counts(which []int, n int) []int {
	out := make([]int, n)
	for _, k := range which {
		out[k]++
	}
	return out
}

// bowOf returns the middle of y over x against its ends, by a fit of line, bow
// and S shape, with one more doubt that all share; false where y does not reach over x.
func bowOf(x, y, u []float64, dof, shared float64) (result.Measured, bool) {
	if len(y) < len(x) {
		return result.Measured{}, false
	}
	rows, w := make([][]float64, len(x)), make([]float64, len(x))
	for i := range x {
		rows[i], w[i] = model.Legendres(x[i], x[0], x[len(x)-1], 3), 1/math.Max(u[i]*u[i], 1e-12)
	}
	r, err := fit.Least(rows, y, w)
	if err != nil || r.Rank < 4 || r.DoF < 1 {
		return result.Measured{}, false
	}
	// P2 is -1/2 in the middle and 1 at the ends.
	own := 1.5 * r.U(2, math.Max(r.S(), 1))
	return result.Of(-1.5*r.Coef[2], math.Hypot(own, shared), dof, "mm"), true
}
