package fit

import (
	"math"
	"slices"
)

// Median returns the median of x, 0 for none. x is not changed.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Clone(x)
	h := len(s) / 2
	part(s, h)
	if len(s)%2 == 1 {
		return s[h]
	}
	return slices.Max(s[:h])/2 + s[h]/2
}

// part puts s[k] where it stands in order, nothing larger before it and nothing
// smaller behind (Hoare, Algorithm 65, Comm. ACM 4, 1961; from memory). Short ones
// are sorted.
func part(s []float64, k int) {
	for len(s) > 24 {
		pivot := middle(s[0], s[len(s)/2], s[len(s)-1])
		i, j := 0, len(s)-1
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			s = s[:j+1]
		case k >= i:
			s, k = s[i:], k-i
		default:
			return
		}
	}
	slices.Sort(s)
}

// middle returns the median of three.
func middle(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}

// MAD returns the median absolute deviation from the median, scaled so that it
// is a standard deviation for normal data (x 1.4826; Huber, Robust Statistics,
// from memory).
func MAD(x []float64) float64 {
	return 1.482602218505602 * Median(absolute(x, Median(x)))
}

func absolute(x []float64, from float64) []float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - from)
	}
	return d
}

// TheilSen returns the median of the slopes of all pairs (Sen, J. Am. Stat. Assoc. 63,
// 1968). ok is false for fewer than two distinct x.
func TheilSen(x, y []float64) (slope float64, ok bool) {
	var s []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				s = append(s, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	return Median(s), len(s) > 0
}

// Huber refits with Huber's weights, k = 1.345 and the MAD about zero of the
// residuals as scale, until the coefficients stand still (or 200 rounds); it
// returns the last fit and the weights, 1 for what fits.
func Huber(rows [][]float64, y []float64) (Result, []float64, error) {
	r, err := Least(rows, y, nil)
	if err != nil {
		return r, nil, err
	}
	w := make([]float64, len(y))
	for range 200 {
		s := 1.482602218505602 * Median(absolute(r.Residuals, 0))
		for i, e := range r.Residuals {
			w[i] = 1
			if a := math.Abs(e); s > 0 && a > 1.345*s {
				w[i] = 1.345 * s / a
			}
		}
		next, err := Least(rows, y, w)
		if err != nil {
			return r, w, err
		}
		moved := 0.0
		for i, b := range next.Coef {
			moved = math.Max(moved, math.Abs(b-r.Coef[i])/(math.Abs(b)+1e-12))
		}
		if r = next; moved < 1e-10 {
			break
		}
	}
	return r, w, nil
}
