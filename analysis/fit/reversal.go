package fit

import "math"

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
	s.MeanUp, s.SUp = meanSD(up)
	s.MeanDown, s.SDown = meanSD(down)
	s.B = s.MeanUp - s.MeanDown
	s.R = max(2*s.SUp+2*s.SDown+math.Abs(s.B), 4*s.SUp, 4*s.SDown)
	return s
}

// Axis is the evaluation of an axis over its targets by ISO 230-2.
type Axis struct {
	Targets []Sides
	// B is the largest reversal value by size, MeanB their mean, RUp, RDown
	// and R the largest repeatabilities, M the range of the two-sided mean
	// deviations, E that of all mean deviations, A the accuracy.
	B, MeanB, RUp, RDown, R, M, E, A float64
}

// ReversalAxis evaluates the targets of an axis; up and down hold the readings
// at each target. It panics if the lengths differ or there is none.
func ReversalAxis(targets []float64, up, down [][]float64) Axis {
	if len(targets) == 0 || len(up) != len(targets) || len(down) != len(targets) {
		panic("fit: targets, up and down differ in length")
	}
	var a Axis
	lowM, highM := math.Inf(1), math.Inf(-1)
	lowE, highE, lowA, highA := lowM, highM, lowM, highM
	for i, at := range targets {
		s := Reversal(up[i], down[i])
		a.Targets = append(a.Targets, s)
		if math.Abs(s.B) > math.Abs(a.B) {
			a.B = s.B
		}
		a.MeanB += s.B / float64(len(targets))
		a.RUp, a.RDown, a.R = max(a.RUp, 4*s.SUp), max(a.RDown, 4*s.SDown), max(a.R, s.R)
		u, d := s.MeanUp-at, s.MeanDown-at
		lowM, highM = min(lowM, (u+d)/2), max(highM, (u+d)/2)
		lowE, highE = min(lowE, u, d), max(highE, u, d)
		lowA = min(lowA, u-2*s.SUp, d-2*s.SDown)
		highA = max(highA, u+2*s.SUp, d+2*s.SDown)
	}
	a.M, a.E, a.A = highM-lowM, highE-lowE, highA-lowA
	return a
}

// meanSD returns mean and standard deviation (0 for fewer than two values), in
// two passes.
func meanSD(x []float64) (mean, sd float64) {
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

// MeanSD returns the mean and the standard deviation (n - 1) of x, in two
// passes with the correction for rounding.
func MeanSD(x []float64) (mean, sd float64) { return meanSD(x) }

// Lag1 returns the autocorrelation of x at lag one, as NIST StRD certifies it:
// sum (x_i - m)(x_i+1 - m) / sum (x_i - m)^2; 0 where x does not vary.
func Lag1(x []float64) float64 {
	m, _ := meanSD(x)
	num, den := 0.0, 0.0
	for i, v := range x {
		den += (v - m) * (v - m)
		if i > 0 {
			num += (v - m) * (x[i-1] - m)
		}
	}
	if den == 0 {
		return 0
	}
	return num / den
}
