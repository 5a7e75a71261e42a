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
