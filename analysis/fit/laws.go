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

// MeanSD returns the mean and the standard deviation (n - 1, 0 for fewer than two
// values) of x, in two passes with the correction for rounding.
func MeanSD(x []float64) (mean, sd float64) {
	n := float64(len(x))
	if n == 0 {
		return 0, 0
	}
	for _, v := range x {
		mean += (v - x[0]) / n
	}
	mean += x[0]
	if n < 2 {
		return mean, 0
	}
	ss, c := 0.0, 0.0
	for _, v := range x {
		ss += (v - mean) * (v - mean)
		c += v - mean
	}
	return mean, math.Sqrt((ss - c*c/n) / (n - 1))
}

// PureError returns the weighted sum of squares of y about the means of its
// groups, and its degrees of freedom; w may be nil, values of weight 0 do not
// count. group says for each value to which it belongs.
func PureError(y, w []float64, group []int) (ss, dof float64) {
	type sums struct{ w, wy, n float64 }
	of := map[int]sums{}
	for i, v := range y {
		if k, s := weight(w, i), of[group[i]]; k > 0 {
			of[group[i]] = sums{s.w + k, s.wy + k*v, s.n + 1}
		}
	}
	for i, v := range y {
		if k, s := weight(w, i), of[group[i]]; k > 0 {
			ss += k * (v - s.wy/s.w) * (v - s.wy/s.w)
		}
	}
	for _, s := range of {
		dof += s.n - 1
	}
	return ss, dof
}

// Sides is what one target says when it is approached from both sides, by the
// formulas of ISO 230-2 (from memory; they agree with the worked example that
// the test names).
type Sides struct {
	// MeanUp and MeanDown are the means, SUp and SDown the standard deviations
	// of the approaches in positive and negative direction.
	MeanUp, MeanDown, SUp, SDown float64
	// B is the reversal value, MeanUp - MeanDown.
	B float64
	// R is the two-sided repeatability, max(2 SUp + 2 SDown + |B|, 4 SUp, 4 SDown).
	R float64
}

// Reversal evaluates one target. Each side needs two values for its standard
// deviation, which is 0 otherwise.
func Reversal(up, down []float64) Sides {
	s := Sides{}
	s.MeanUp, s.SUp = MeanSD(up)
	s.MeanDown, s.SDown = MeanSD(down)
	s.B = s.MeanUp - s.MeanDown
	s.R = max(2*s.SUp+2*s.SDown+math.Abs(s.B), 4*s.SUp, 4*s.SDown)
	return s
}
