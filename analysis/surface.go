package analysis

import (
	"math"

	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/probe/record"
)

// surface is the posterior as the gap error: every question is a row.
type surface struct {
	m    model.Machine
	post *model.Posterior // nil where nothing was fitted
	// blades is a variance that contrasts keep because several blades were
	// used, mm^2.
	blades float64
	// fixed is the half width where nothing was fitted (no lever), mm.
	fixed float64
}

func (s surface) row(p record.Place) model.Row { return s.m.Gap(p) }

// of returns what a row makes, and the half width of its 95 % interval, mm.
func (s surface) of(r model.Row) (v, u95 float64) {
	if s.post == nil {
		return 0, s.fixed
	}
	v, variance := s.post.At(r)
	return v, result.Z95 * math.Sqrt(variance)
}

// measured is of as a value in mm.
func (s surface) measured(r model.Row) result.Measured {
	v, u95 := s.of(r)
	return result.Of(v, u95/result.Z95, math.Inf(1), "mm")
}

// contrast returns the gap error at p against q and the half width of its 95 %
// interval.
func (s surface) contrast(p, q record.Place) (gap, u95 float64) {
	if s.post == nil {
		return 0, s.fixed
	}
	gap, u95 = s.of(s.row(p).Minus(s.row(q)))
	if p != q {
		u95 = math.Hypot(u95, result.Z95*math.Sqrt(s.blades))
	}
	return gap, u95
}

// The gap error against q taken apart: what changes from left to right in q's own row,
// what of that bends away from the straight line from x0 to x1, what changes from front
// to back in q's column, and what of the left-right change is another in p's row.

func (s surface) left(p, q record.Place) model.Row {
	return s.row(record.Place{U: p.U, V: q.V}).Minus(s.row(q))
}

func (s surface) bend(u, x0, x1, v float64) model.Row {
	k := (u - x0) / math.Max(x1-x0, 1)
	ends := s.row(record.Place{U: x0, V: v}).Times(1 - k).Plus(s.row(record.Place{U: x1, V: v}).Times(k))
	return s.row(record.Place{U: u, V: v}).Minus(ends)
}

func (s surface) front(p, q record.Place) model.Row {
	return s.row(record.Place{U: q.U, V: p.V}).Minus(s.row(q))
}

func (s surface) roll(p, q record.Place) model.Row {
	return s.row(p).Minus(s.row(q)).Minus(s.left(p, q)).Minus(s.front(p, q))
}

// ofX and ofY keep what the X carriage makes, and the Y axis.
func ofX(m model.Motion) bool { return m.OfX() }
func ofY(m model.Motion) bool { return !m.OfX() && m != model.Give }
