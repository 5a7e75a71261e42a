package fit

// PureError returns the weighted sum of squares of y about the means of its
// groups, and its degrees of freedom; w may be nil, values of weight 0 do not
// count. group says for each value to which it belongs.
func PureError(y, w []float64, group []int) (ss, dof float64) {
	sw, swy, n := map[int]float64{}, map[int]float64{}, map[int]float64{}
	weight := func(i int) float64 {
		if w == nil {
			return 1
		}
		return w[i]
	}
	for i, v := range y {
		if k := weight(i); k > 0 {
			sw[group[i]] += k
			swy[group[i]] += k * v
			n[group[i]]++
		}
	}
	for i, v := range y {
		if k := weight(i); k > 0 {
			e := v - swy[group[i]]/sw[group[i]]
			ss += k * e * e
		}
	}
	for _, c := range n {
		dof += c - 1
	}
	return ss, dof
}
