package record

import "slices"

// Grids of nodes, whole um: rows along J, columns along I.

// SameSize reports whether two grids have as many rows and columns.
func SameSize(a, b [][]int64) bool {
	return slices.EqualFunc(a, b, func(r, s []int64) bool { return len(r) == len(s) })
}

// Plus returns a + times b, node by node; b may be nil for nothing.
func Plus(a, b [][]int64, times int64) [][]int64 {
	out := make([][]int64, len(a))
	for j, row := range a {
		out[j] = append(out[j], row...)
		for i := range row {
			if b != nil {
				out[j][i] += times * b[j][i]
			}
		}
	}
	return out
}

// Fineness returns the step, um, in which the printer prints its nodes: 10 if all are
// whole hundredths of a millimetre, else 1.
func Fineness(nodes [][]int64) int64 {
	for _, row := range nodes {
		for _, v := range row {
			if v%10 != 0 {
				return 1
			}
		}
	}
	return 10
}
