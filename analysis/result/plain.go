package result

import (
	"math"
	"strings"
)

// Wild is the largest coordinate, mm, and longest time, s / 100, that is
// believed: beyond it a number is a slip of the wire or the file.
const Wild = 1e5

func Finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func Tame(vs ...float64) bool {
	for _, v := range vs {
		if !(math.Abs(v) <= Wild) {
			return false
		}
	}
	return true
}

func Keep[T any](in []T, good func(T) bool) []T {
	out := in[:0:0]
	for _, x := range in {
		if good(x) {
			out = append(out, x)
		}
	}
	return out
}

func Capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
