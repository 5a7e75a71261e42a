package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"abbed/analysis/fit"
	"abbed/analysis/result"
	"abbed/config/say"
)

// Change is one quantity in two runs, and what became of it.
type Change struct {
	// What names the quantity, Says it in words.
	What string `json:"what"`
	Says string `json:"says"`
	// Before and After are the quantity in either run.
	Before result.Measured `json:"before"`
	After  result.Measured `json:"after"`
	// By is After less Before, or for a standard deviation After over Before
	// (Ratio); its interval is that of the change itself.
	By    result.Measured `json:"by"`
	Ratio bool            `json:"ratio"`
	// Beyond says that the change is beyond its doubt: the interval of By leaves
	// out 0, or 1 for a ratio.
	Beyond bool `json:"beyond"`
}

// difference returns after less before of two independent values. Its standard
// uncertainty is the root of the sum of squares, its degrees of freedom those of
// Welch and Satterthwaite,
//
//	nu = u^4 / (ua^4/nua + ub^4/nub)
//
// not rounded down (JCGM 100:2008, G.4.1, eq. G.2b). What both runs have in common
// (one blade, one criterion of scatter) is counted twice, so that the interval is
// too wide rather than too narrow.
func difference(before, after result.Measured) result.Measured {
	u := math.Hypot(before.U, after.U)
	dof, sum := math.Inf(1), 0.0
	for _, m := range []result.Measured{before, after} {
		if m.DoF > 0 && u > 0 {
			sum += math.Pow(m.U/u, 4) / m.DoF
		}
	}
	if sum > 0 {
		dof = 1 / sum
	}
	return result.Of(after.Value-before.Value, u, dof, after.Unit)
}

// changed compares a value in two runs; nil if either was not measured.
func changed(what, says string, before, after *result.Measured) *Change {
	if before == nil || after == nil {
		return nil
	}
	by := difference(*before, *after)
	return &Change{What: what, Says: says, Before: *before, After: *after, By: by, Beyond: by.Apart()}
}

// rescaled compares a standard deviation in two runs by the ratio of the two; its
// interval is that of the F law for the ratio of two variances,
//
//	(s2/s1)^2 / F.975(n2, n1) .. (s2/s1)^2 / F.025(n2, n1)
//
// (NIST e-Handbook 1.3.5.9, from memory; R's var.test in the tests). It is nil if
// either was not measured, or is zero.
func rescaled(what, says string, before, after *result.Measured) *Change {
	if before == nil || after == nil || !(before.Value > 0) || !(after.Value > 0) || !(before.DoF >= 1) || !(after.DoF >= 1) {
		return nil
	}
	r := after.Value / before.Value
	law := distuv.F{D1: math.Min(after.DoF, 1e6), D2: math.Min(before.DoF, 1e6)}
	by := result.Measured{Value: r, U: r * math.Sqrt(1/(2*before.DoF)+1/(2*after.DoF)),
		Lo95: r / math.Sqrt(law.Quantile(0.975)), Hi95: r / math.Sqrt(law.Quantile(0.025)), DoF: math.Min(before.DoF, after.DoF)}
	return &Change{What: what, Says: says, Before: *before, After: *after, By: by, Ratio: true, Beyond: by.Lo95 > 1 || by.Hi95 < 1}
}

// Sentence says the change for people.
func (c Change) Sentence() string {
	says := result.Capital(c.Says)
	switch {
	case c.Ratio && c.Beyond:
		return fmt.Sprintf("%s: changed beyond its doubt; it is %.2f times what it was (%.2f to %.2f).", says, c.By.Value, c.By.Lo95, c.By.Hi95)
	case c.Ratio:
		return fmt.Sprintf("%s: no change is seen; it is %.2f times what it was (%.2f to %.2f).", says, c.By.Value, c.By.Lo95, c.By.Hi95)
	case c.Beyond:
		return fmt.Sprintf("%s: changed beyond its doubt, from %s to %s: by %s.", says, people(c.Before), people(c.After), people(c.By))
	}
	k, unit := readable(c.By.Unit)
	return fmt.Sprintf("%s: no change is seen, from %s to %s: by %s. A change below %s would not show.", says, people(c.Before), people(c.After), people(c.By), say.Unit(k*c.By.U95(), unit))
}

// people writes a value with its half width in the units that people read.
func people(m result.Measured) string {
	if k, unit := readable(m.Unit); k != 1 {
		m = m.Times(k, unit)
	}
	return m.String()
}

// readable returns what to multiply a unit's values by for people, and the unit
// that they are in then.
func readable(unit string) (k float64, name string) {
	if unit == "rad/mm" {
		return 1000 * 180 / math.Pi, "deg/m"
	}
	return 1, unit
}

// togetherAt is the half width that all contrasts of a model with p terms hold
// together with 95 %, in units of their standard uncertainty: sqrt(p F.95(p, nu))
// (Scheffe; NIST e-Handbook 7.4.7.2). One place alone needs Student's t.
func togetherAt(p int, dof float64) float64 {
	if p < 2 {
		return fit.T95(dof)
	}
	return math.Sqrt(float64(p) * distuv.F{D1: float64(p), D2: math.Min(dof, 1e6)}.Quantile(0.95))
}
