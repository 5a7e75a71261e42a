package plan

import (
	"math"

	"abbed/analysis/steady"
	"abbed/probe/record"
)

// leastColumns are gauged along X before anything is said: a bow and an S shape
// leave something beside them then (design/2; four columns fit an S shape
// exactly).
const leastColumns = 5

// Sparse returns the places of the lean gauging, in order, one record each: the
// zero place; along X to either edge of the area inner, at least five columns in
// all and none farther than hop from the next; then of the rows at the edges two
// corners, across from each other. A row at the edge is left out where the zero
// place's own lies within margin of the edge of the area. The corners that are
// left out come when the records ask for them (Advise).
//
// Where one place on either side is within hop of the zero place and of both
// corners there, these two and the four corners are all: five columns and three
// rows with one record less, and no corner is foretold.
func Sparse(inner record.Rect, zero record.Place, hop, margin float64) []record.Place {
	if out, ok := cornered(inner, zero, hop, margin); ok {
		return out
	}
	right, left := inner.X1-zero.U, zero.U-inner.X0
	out := []record.Place{zero}
	n, m := columnsTo(right, left, hop)
	for k := range n {
		out = append(out, record.Place{U: zero.U + right*float64(k+1)/float64(n), V: zero.V})
	}
	for k := range m {
		out = append(out, record.Place{U: zero.U - left*float64(k+1)/float64(m), V: zero.V})
	}
	front, back := zero.V-inner.Y0 > margin, inner.Y1-zero.V > margin
	if back {
		out = append(out, record.Place{U: inner.X1, V: inner.Y1})
	}
	if front {
		out = append(out, record.Place{U: inner.X0, V: inner.Y0})
	}
	switch {
	case front && !back:
		out = append(out, record.Place{U: inner.X1, V: inner.Y0})
	case back && !front:
		out = append(out, record.Place{U: inner.X0, V: inner.Y1})
	}
	return out
}

// cornered are the zero place, and on either side one place in its row and the
// corners; ok is false where a row at an edge is not wanted, or a hop too wide.
func cornered(inner record.Rect, zero record.Place, hop, margin float64) (out []record.Place, ok bool) {
	up, down := inner.Y1-zero.V, zero.V-inner.Y0
	if up <= margin || down <= margin {
		return nil, false
	}
	out = []record.Place{zero}
	for _, edge := range []float64{inner.X1, inner.X0} {
		far, most := math.Abs(edge-zero.U), math.Max(up, down)
		if most >= hop || far < 3*steady.Apart {
			return nil, false
		}
		// Half way out, or as near to the corners as the hop asks.
		d := math.Max(far/2, math.Ceil(far-math.Sqrt(hop*hop-most*most)))
		if d > hop || far-d < steady.Apart {
			return nil, false
		}
		u := zero.U + math.Copysign(d, edge-zero.U)
		out = append(out, record.Place{U: u, V: zero.V}, record.Place{U: edge, V: inner.Y1}, record.Place{U: edge, V: inner.Y0})
	}
	return out, true
}

// columnsTo shares the columns beside the zero place out over its two sides, by
// their lengths.
func columnsTo(right, left, hop float64) (n, m int) {
	count := func(d float64) int {
		if d < steady.Apart {
			return 0
		}
		return int(math.Ceil(d/hop - 1e-9))
	}
	n, m = count(right), count(left)
	for n+m+1 < leastColumns && right+left >= leastColumns*steady.Apart {
		if right/float64(n+1) >= left/float64(m+1) {
			n++
		} else {
			m++
		}
	}
	return n, m
}
