package record

import (
	"math"
	"slices"
)

// NodeState says whether a node of the printed map has a correction in it.
type NodeState uint8

// States of a node.
const (
	NodeOther  NodeState = iota // it cannot be told
	NodeBefore                  // it has not: 0
	NodeAfter                   // it has, once: 1
)

// Whole says whether a printed map has a correction in it.
type Whole uint8

// States of a map.
const (
	Unclear    Whole = iota // it cannot be told
	Nowhere                 // no node has it
	Everywhere              // every node has it
	Partly                  // some nodes have it, others have not or cannot be told
)

// Standing says what of a correction stands in a printed map: see Applied.In.
type Standing struct {
	Whole Whole
	// Nodes are rows along J; nil if the map has another size than the correction.
	Nodes [][]NodeState
	// Exact says that every node holds just what it held before, or just that and the
	// addition: nobody else changed anything, also where nothing was added.
	Exact bool
	// Scatter is the robust standard deviation, um, by which a map that was measured
	// anew differs from the one before, offset and tilt taken out; 0 if it was not.
	Scatter float64
}

// Count returns how many nodes are in a state.
func (s Standing) Count(is NodeState) int {
	n := 0
	for _, v := range slices.Concat(s.Nodes...) {
		if v == is {
			n++
		}
	}
	return n
}

// twoMaps is the standard deviation, um, by which a node differs between two maps that
// were measured on the same bed, at most: sqrt 2 times the largest scatter with which a
// correction is offered (Criteria.Scatter, 0.015 mm).
const twoMaps = 21.0

// In says what of the correction stands in a printed map; nodes are whole um. With d =
// printed - before a node is at home where d = 0 or d = add; where the printer prints
// whole hundredths of a millimetre, 9 um are as good as nothing. Nodes with an addition
// above that are looked at, the others go with the whole.
//
//	printed map                                      node         whole
//	has another size                                 (nil)        Nowhere
//	half of its nodes or more are at home. Of them
//	most have d = add:
//	  d = add                                        After        Everywhere if all are After,
//	  d = add < 63 um, a node beside it not at home  Other        else Partly
//	  |d - add| <= |add|/4, |add| >= 84 um, and      After
//	  each node beside it is at home: edited
//	  else                                           Other
//	most have d = 0:
//	  d = 0; |d| <= |add|/4 and as above: edited     Before       Partly if any is After,
//	  d = add >= 63 um, or so are two beside it      After        or as below; else Nowhere
//	  else                                           Other
//	fewer are at home: it was measured anew. With r = d less offset and tilt:
//	  d = add at more nodes than by chance, in all                Partly
//	  or in a row or column; or one has k > 0.3, 4 u;
//	  or |r - add| <= |add|/4, |add| >= 4 scatter,
//	  or d = add and |r| > 3 scatter
//	  the whole has k >= 0.5, and d - add scatters                Unclear
//	  no more than three times as much as r
//	  none of this                                   Before       Nowhere
//	    d = add >= 63 um, or so are two beside it    After        (Partly, Unclear)
//	    else                                         Other
//
// Where fewer than three nodes are not at home, every d = add is After: no map was
// measured anew in part. k = sum(r add)/sum(add^2) is the projection on the correction,
// u its standard uncertainty by the scatter of r. 63 and 84 um are three and four times
// twoMaps; 93 um instead of 63 where the printer prints hundredths. The bed may have been
// levelled before it was measured anew, so that a tilt is taken out; but a correction may
// itself be a tilt: k of the whole is that of d less its offset alone, and that of r where
// r can tell. Where less than 1.5 times the scatter was added to a whole row, nothing can
// be told of that row. Without Before a correction is believed to be everywhere.
func (a Applied) In(nodes [][]int64) Standing {
	switch {
	case a.Before == nil:
		return Standing{Whole: Everywhere}
	case !SameSize(a.Before, nodes) || !SameSize(a.Add, nodes):
		return Standing{Whole: Nowhere}
	}
	l := a.look(nodes)
	if 2*(l.before+l.after) >= l.moved {
		return l.edited()
	}
	return l.measured()
}

// NodeAt is the place of a node in the grid.
type NodeAt struct{ I, J int }

// Put returns the printed map with the correction in it k times, 0 or 1, at each node of
// which the Standing can tell; what others changed there stays. The other nodes are left
// as they are, and named.
func (a Applied) Put(nodes [][]int64, s Standing, k int64) (to [][]int64, left []NodeAt) {
	to = Plus(nodes, nil, 0)
	if s.Nodes == nil {
		return to, nil
	}
	mute := Fineness(nodes) - 1
	for j, row := range s.Nodes {
		for i, is := range row {
			has := int64(0)
			switch {
			case is == NodeOther:
				left = append(left, NodeAt{i, j})
				continue
			case is == NodeAfter:
				has = 1
			}
			if has == k {
				continue
			}
			edit := nodes[j][i] - a.Before[j][i] - has*a.Add[j][i]
			if max(edit, -edit) <= mute {
				edit = 0 // as the printer prints what was written
			}
			to[j][i] = a.Before[j][i] + k*a.Add[j][i] + edit
		}
	}
	return to, left
}

// look is a printed map beside a correction.
type look struct {
	d, add [][]float64
	home   [][]NodeState // NodeOther: the node is not at home, or nothing is added to it
	mute   float64       // what the printer may not show, um

	moved, before, after int // nodes with an addition; of them at home, by where
	odd                  int // nodes without one that were changed
}

func (a Applied) look(nodes [][]int64) look {
	l := look{mute: float64(Fineness(nodes) - 1)}
	for j, row := range nodes {
		d, add, home := make([]float64, len(row)), make([]float64, len(row)), make([]NodeState, len(row))
		for i, v := range row {
			d[i], add[i] = float64(v-a.Before[j][i]), float64(a.Add[j][i])
			switch {
			case math.Abs(add[i]) <= l.mute:
				if math.Abs(d[i]) > l.mute {
					l.odd++
				}
				continue
			case math.Abs(d[i]) <= min(l.mute, math.Abs(d[i]-add[i])):
				home[i] = NodeBefore
				l.before++
			case math.Abs(d[i]-add[i]) <= l.mute:
				home[i] = NodeAfter
				l.after++
			}
			l.moved++
		}
		l.d, l.add, l.home = append(l.d, d), append(l.add, add), append(l.home, home)
	}
	return l
}

// states returns one state for each node: of those to which nothing is added like.
func (l look) states(like NodeState, of func(j, i int) NodeState) [][]NodeState {
	out := make([][]NodeState, len(l.add))
	for j, row := range l.add {
		out[j] = make([]NodeState, len(row))
		for i, add := range row {
			if out[j][i] = like; math.Abs(add) > l.mute {
				out[j][i] = of(j, i)
			}
		}
	}
	return out
}

// sure is the addition, um, from which a node that holds it to the printer's step does not
// hold it by chance.
func (l look) sure() float64 {
	if l.mute > 0 {
		return 4*twoMaps + l.mute
	}
	return 3 * twoMaps
}

// edited judges a map that holds what was written, or what was there before, but for
// some nodes that somebody changed.
func (l look) edited() Standing {
	most, to := NodeBefore, 0.0
	if l.after > l.before {
		most, to = NodeAfter, 1
	}
	after, strange := 0, l.moved-l.before-l.after
	s := Standing{Exact: strange+l.odd == 0, Whole: Nowhere}
	s.Nodes = l.states(most, func(j, i int) NodeState {
		is, big := l.home[j][i], math.Abs(l.add[j][i])
		switch {
		case is == NodeAfter && strange < 3:
		case is == NodeAfter && most == NodeAfter && big < l.sure() && l.beside(j, i, NodeOther) > 0,
			is == NodeAfter && most == NodeBefore && big < l.sure() && (l.mute > 0 || l.beside(j, i, NodeAfter) < 2):
			is = NodeOther
		case is == NodeOther && l.beside(j, i, NodeOther) == 0 && big >= 4*twoMaps && 4*math.Abs(l.d[j][i]-to*l.add[j][i]) <= big:
			is = most
		}
		if is == NodeAfter {
			after++
		}
		return is
	})
	switch {
	case after > 0 && after == l.moved:
		s.Whole = Everywhere
	case after > 0, strange >= 3 && l.written(untilted(l.d)):
		s.Whole = Partly
	}
	return s
}

// beside counts the eight nodes around one that have an addition and are in a state.
func (l look) beside(j, i int, is NodeState) int {
	n := 0
	for y := max(j-1, 0); y <= min(j+1, len(l.add)-1); y++ {
		for x := max(i-1, 0); x <= min(i+1, len(l.add[y])-1); x++ {
			if (y != j || x != i) && math.Abs(l.add[y][x]) > l.mute && l.home[y][x] == is {
				n++
			}
		}
	}
	return n
}
