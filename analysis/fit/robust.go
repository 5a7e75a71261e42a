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
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return 1.482602218505602 * Median(d)
}

// TheilSen returns the median of the slopes of all pairs, and its 95 %
// interval by Kendall's S (Sen, J. Am. Stat. Assoc. 63, 1968; ties in x are
// left out). ok is false for fewer than two distinct x.
func TheilSen(x, y []float64, level float64) (slope, lo, hi float64, ok bool) {
	var s []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				s = append(s, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	if len(s) == 0 {
		return 0, 0, 0, false
	}
	slices.Sort(s)
	n := float64(len(x))
	z := normalQuantile(0.5 + level/2)
	sigma := math.Sqrt((n*(n-1)*(2*n+5) - ties(x) - ties(y)) / 18)
	up := int(math.Min(math.Round((float64(len(s))+z*sigma)/2), float64(len(s)-1)))
	down := int(math.Max(math.Round((float64(len(s))-z*sigma)/2)-1, 0))
	return Median(s), s[down], s[up], true
}

// ties returns sum k(k-1)(2k+5) over groups of k equal values.
func ties(x []float64) float64 {
	count := map[float64]float64{}
	for _, v := range x {
		count[v]++
	}
	t := 0.0
	for _, k := range count {
		t += k * (k - 1) * (2*k + 5)
	}
	return t
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
		s := medianAbs(r.Residuals) / 0.6744897501960817
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
		still := still(r.Coef, next.Coef)
		r = next
		if still {
			break
		}
	}
	return r, w, nil
}

func still(a, b []float64) bool {
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-10*(math.Abs(a[i])+1e-12) {
			return false
		}
	}
	return true
}

func medianAbs(x []float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v)
	}
	return Median(d)
}
