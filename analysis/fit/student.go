package fit

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// T95 returns the two-sided 95 % point of Student's t with dof degrees of
// freedom; 1.96 for +Inf. It panics if dof is not positive.
func T95(dof float64) float64 {
	if !(dof > 0) {
		panic("fit: degrees of freedom must be positive")
	}
	if dof > 1e6 {
		return 1.959963984540054
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(0.975)
}

// DeviationBounds returns the 95 % interval of a standard deviation s found
// with dof degrees of freedom, by the chi-square law. It panics if dof is not
// positive.
func DeviationBounds(s, dof float64) (lo, hi float64) {
	if !(dof > 0) {
		panic("fit: degrees of freedom must be positive")
	}
	if dof > 1e6 {
		return s, s
	}
	c := distuv.ChiSquared{K: dof}
	return s * math.Sqrt(dof/c.Quantile(0.975)), s * math.Sqrt(dof/c.Quantile(0.025))
}

// FTail returns the probability of an F as large as f with d1 and d2 degrees
// of freedom: 1 for f <= 0, and where there are no degrees of freedom.
func FTail(f, d1, d2 float64) float64 {
	if !(f > 0) || !(d1 > 0) || !(d2 > 0) {
		return 1
	}
	if math.IsInf(f, 1) {
		return 0
	}
	return distuv.F{D1: d1, D2: d2}.Survival(f)
}

// normalQuantile is the quantile of the standard normal law.
func normalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }
