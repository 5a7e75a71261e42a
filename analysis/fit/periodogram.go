package fit

import "math"

// LombScargle returns the standard normalised power, 0..1, of a period in y at
// the times (or places) t: how much of the variance about the mean a sine of
// that period explains. With floating, the mean is fitted with the sine
// (Zechmeister, Kuerster, Astron. Astrophys. 496, 2009; from memory), else y is
// centred before. It is 0 where y does not vary. It panics if lengths differ.
func LombScargle(t, y []float64, period float64, floating bool) float64 {
	if len(t) != len(y) {
		panic("fit: t and y differ in length")
	}
	m, _ := meanSD(y)
	total := 0.0
	rows := make([][]float64, len(t))
	z := make([]float64, len(t))
	for i := range t {
		s, c := math.Sincos(2 * math.Pi * (t[i] - t[0]) / period)
		rows[i] = []float64{s, c}
		if floating {
			rows[i] = append(rows[i], 1)
		}
		z[i] = y[i] - m
		total += z[i] * z[i]
	}
	if total == 0 {
		return 0
	}
	r, err := Least(rows, z, nil)
	if err != nil {
		return 0
	}
	return math.Max(1-r.RSS/total, 0)
}

// FalseAlarm returns the probability that the highest of independent powers
// comes from noise alone, n values with a floating mean: 1 - (1 - (1-z)^((n-3)/2))^m
// (Scargle 1982 with the normalisation of Zechmeister and Kuerster; from
// memory).
func FalseAlarm(power float64, n int, independent float64) float64 {
	if n <= 3 || power <= 0 {
		return 1
	}
	single := math.Pow(1-math.Min(power, 1), float64(n-3)/2)
	return -math.Expm1(independent * math.Log1p(-math.Min(single, 1-1e-16)))
}
