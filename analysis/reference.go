package analysis

import (
	"math"

	"abbed/analysis/fit"
	"abbed/analysis/model"
	"abbed/probe/record"
)

// referenceSeen is what the touches along a straight reference tell: the bend
// of EZX + D along X, without the bed, up to a tilt.
type referenceSeen struct {
	record.Reference
	// machine is minus the bend of EZX + D, as a map shows it, at the columns;
	// U holds the touches' doubt and the reference's own.
	machine *Profile
	// bow is the middle of the machine's bend against its ends, mm; bed the same
	// of the bed beneath, from the survey less the reference; nil without one.
	bow Measured
	bed *Measured
}

// seeReference takes the passes over the last reference apart; nil without
// one, or with fewer than five columns passed twice.
func seeReference(run record.Run, s steadiness, sv *survey) *referenceSeen {
	var r *referenceSeen
	since := int64(0)
	for _, l := range run.Laid {
		if l.Reference != nil {
			r, since = &referenceSeen{Reference: *l.Reference}, l.N
		}
	}
	if r == nil {
		return nil
	}
	ts := keep(run.Of(record.SeriesReference), func(t record.Touch) bool {
		return (t.N == 0 || t.N > since) && math.Abs(t.Z-r.Thickness) < math.Abs(t.Z)
	})
	var us []float64
	for _, t := range ts {
		us = append(us, t.Place.U)
	}
	at, col := cluster(us, 0.75)
	// Passes differ by drift: one constant each, beside one height a column.
	passes := 0
	for _, t := range ts {
		passes = max(passes, t.Pass+1)
	}
	if len(at) < 5 || passes < 2 || len(ts) < 2*len(at) {
		return nil
	}
	rows, z := make([][]float64, len(ts)), make([]float64, len(ts))
	for i, t := range ts {
		rows[i] = make([]float64, len(at)+passes-1)
		rows[i][col[i]] = 1
		if t.Pass > 0 {
			rows[i][len(at)+t.Pass-1] = 1
		}
		z[i] = s.level(t)
	}
	f, err := fit.Least(rows, z, nil)
	if err != nil || f.Rank < len(at)+passes-1 || f.DoF < 3 {
		return nil
	}
	noise := math.Max(f.S(), s.sigma/2)
	n := make([]int, len(at))
	for _, c := range col {
		n[c]++
	}
	p := &Profile{Touches: len(ts), Columns: effects(at, f.Coef[:len(at)], n, noise)}
	p.Noise = deviation(noise, f.DoF, "mm")
	p.test(noise, f.DoF)
	r.machine = p
	r.bows(sv, s, f.DoF)
	for i := range p.Columns {
		p.Columns[i].U = math.Hypot(p.Columns[i].U, r.straightU())
	}
	return r
}

// straightU is the standard uncertainty of the reference's own bend: a zone of
// the width Straight, evenly filled (JCGM 100:2008, 4.3.7).
func (r *referenceSeen) straightU() float64 { return r.Straight / math.Sqrt(12) }

// bows fits line, bow and S shape to the machine's bend, and to the bed beneath.
func (r *referenceSeen) bows(sv *survey, s steadiness, dof float64) {
	var at, mach, um, bed, ub []float64
	for _, c := range r.machine.Columns {
		at, mach, um = append(at, c.At), append(mach, c.Effect), append(um, c.U)
		if sv == nil {
			continue
		}
		z, u, ok := sv.near(record.Place{U: c.At, V: r.Y}, s.sigma)
		if ok {
			bed, ub = append(bed, z-c.Effect), append(ub, math.Hypot(u, c.U))
		}
	}
	if m, ok := bowOf(at, mach, um, dof, r.straightU()); ok {
		r.bow = m
	}
	if len(bed) == len(at) {
		if m, ok := bowOf(at, bed, ub, dof, r.straightU()); ok {
			r.bed = &m
		}
	}
}

// bowOf returns the middle of y over x against its ends, by a fit of line, bow
// and S shape, with one more doubt that all share.
func bowOf(x, y, u []float64, dof, shared float64) (Measured, bool) {
	lo, hi := x[0], x[len(x)-1]
	rows, w := make([][]float64, len(x)), make([]float64, len(x))
	for i := range x {
		rows[i] = make([]float64, 4)
		model.Legendre((2*x[i]-lo-hi)/math.Max(hi-lo, 1), rows[i])
		w[i] = 1 / math.Max(u[i]*u[i], 1e-12)
	}
	r, err := fit.Least(rows, y, w)
	if err != nil || r.Rank < 4 || r.DoF < 1 {
		return Measured{}, false
	}
	// P2 is -1/2 in the middle and 1 at the ends.
	own := 1.5 * r.U(2, math.Max(r.S(), 1))
	return measured(-1.5*r.Coef[2], math.Hypot(own, shared), dof, "mm"), true
}
