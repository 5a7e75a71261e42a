package probe

import (
	"math"
	"slices"

	"abbed/analysis/plan"
	"abbed/probe/record"
)

// inner is the rectangle on whose edges the outermost gauging places lie: the
// reach, a little inside, so that the gauged area with its margin covers the
// reach.
func (p Plan) inner(s record.Setup) record.Rect {
	d := min(p.Inset, s.Criteria.GaugedMargin, s.Reach.W()/4, s.Reach.H()/4)
	return s.Reach.Grown(-d)
}

// aims returns the places to gauge, in order: the zero place, outward along X
// to either edge, then both ends of each further row, the edges first. alone
// leaves the further rows out: the five-minute answer.
func (p Plan) aims(s record.Setup, alone bool) []record.Place {
	if p.Earlier != nil {
		return p.goesOn(s)
	}
	in := p.inner(s)
	if p.Lean && !alone {
		return nearFirst(plan.Sparse(in, s.Zero, hopKnown, s.Criteria.GaugedMargin))
	}
	out := []record.Place{s.Zero}
	right, left := p.sharedOut(in.X1-s.Zero.U, s.Zero.U-in.X0, alone)
	for k := range right {
		out = append(out, record.Place{U: s.Zero.U + (in.X1-s.Zero.U)*float64(k+1)/float64(right), V: s.Zero.V})
	}
	for k := range left {
		out = append(out, record.Place{U: s.Zero.U + (in.X0-s.Zero.U)*float64(k+1)/float64(left), V: s.Zero.V})
	}
	if alone {
		return out
	}
	turned := false
	for _, v := range p.gaugedRows(s, in) {
		ends := [2]record.Place{{U: in.X0, V: v}, {U: in.X1, V: v}}
		if turned {
			ends[0], ends[1] = ends[1], ends[0]
		}
		out, turned = append(out, ends[0], ends[1]), !turned
	}
	return out
}

// nearHop is how far from the zero place the second place lies that is gauged, mm: what is
// learned there makes every later way down shorter, and it tells the zero place once more.
const nearHop = 20.0

// nearFirst puts a place near the first one, on the way to the second, before it.
func nearFirst(out []record.Place) []record.Place {
	if len(out) < 2 || out[0].Distance(out[1]) < nearHop+leastHop {
		return out
	}
	f := nearHop / out[0].Distance(out[1])
	near := record.Place{U: out[0].U + f*(out[1].U-out[0].U), V: out[0].V + f*(out[1].V-out[0].V)}
	return slices.Insert(out, 1, near)
}

// recordsAt is how many records the place owes that is visited as number spot, from
// 0, at its first visit: where few are made two at the zero place, with which all others
// are compared, and one elsewhere; else the plan's.
func (p Plan) recordsAt(spot int, alone bool) int {
	switch {
	case !alone && !p.Lean:
		return p.Records
	case spot == 0:
		return 2
	}
	return 1
}

// roughs is how many records more a place owes after those made here: one in the lean plan,
// whose first was a rough one. A plan that says beforehand how many there will be keeps to
// that: its rough records count as little as they know.
func (p Plan) roughs(here []record.Gauging, alone bool) int {
	if p.Lean && !alone && len(here) > 0 && here[0].Step > roughStep {
		return 1
	}
	return 0
}

// recordsBack is how many records the return to the zero place at the end owes: none in
// the five-minute answer.
func (p Plan) recordsBack(alone bool) int {
	switch {
	case alone:
		return 0
	case p.Lean:
		return 2
	}
	return 1
}

// most is how many records the lean plan makes at most.
func (p Plan) most(s record.Setup) int {
	r := route{aims: p.aims(s, false), reach: s.Reach}
	n := len(r.walk(nil, NewRoom(record.Run{Setup: s})))
	return p.recordsOver(0, n, false) + p.recordsBack(false) + p.More
}

// recordsOver is how many n places owe from number spot on.
func (p Plan) recordsOver(spot, n int, alone bool) (sum int) {
	for k := range n {
		sum += p.recordsAt(spot+k, alone)
	}
	return sum
}

// sharedOut returns how many places lie to the right and to the left of the zero
// place in its row: no farther than the spacing from each other, or as many as
// were asked for in all, by the lengths of the sides, and never farther than a
// hop may be.
func (p Plan) sharedOut(right, left float64, alone bool) (n, m int) {
	spacing := p.Spacing
	if alone || p.GaugeColumns > 0 {
		spacing = hopMost
	}
	count := func(d float64) int { return max(0, int(math.Ceil(math.Abs(d)/spacing-1e-9))) }
	n, m = count(right), count(left)
	for !alone && n+m+1 < p.GaugeColumns {
		if right/float64(n+1) >= left/float64(m+1) {
			n++
		} else {
			m++
		}
	}
	return n, m
}

// gaugedRows are the rows beside the zero place's own: the edges, but for one that
// the zero place's row covers; the farther one alone for two rows; more between
// them for more than three.
func (p Plan) gaugedRows(s record.Setup, in record.Rect) []float64 {
	var out []float64
	if p.GaugeRows == 1 {
		return nil
	}
	if s.Zero.V-s.Reach.Y0 > s.Criteria.GaugedMargin {
		out = append(out, in.Y0)
	}
	if s.Reach.Y1-s.Zero.V > s.Criteria.GaugedMargin {
		out = append(out, in.Y1)
	}
	if p.GaugeRows == 2 && len(out) == 2 {
		if s.Zero.V-in.Y0 >= in.Y1-s.Zero.V {
			return out[:1]
		}
		return out[1:]
	}
	return append(out, p.rowsBetween(s, in)...)
}

// rowsBetween are the rows beyond three, evenly over the area, without the one that
// the zero place's own stands for.
func (p Plan) rowsBetween(s record.Setup, in record.Rect) []float64 {
	if p.GaugeRows <= 3 {
		return nil
	}
	at := spread(in.Y0, in.Y1, p.GaugeRows)
	at = at[1 : len(at)-1]
	nearest := 0
	for i, v := range at {
		if math.Abs(v-s.Zero.V) < math.Abs(at[nearest]-s.Zero.V) {
			nearest = i
		}
	}
	var out []float64
	for i, v := range at {
		if i != nearest && math.Abs(v-s.Zero.V) >= leastHop {
			out = append(out, v)
		}
	}
	return out
}
