package record

import "slices"

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

// In says what of the correction stands in a printed map; nodes are whole um. evidence
// weighs each node; the whole is Everywhere if every node has the correction, Partly if one
// has it or may have it and it matters there, Unclear if a map that was measured anew has
// its shape, else Nowhere. Without Before it is believed to be everywhere.
func (a Applied) In(nodes [][]int64) Standing {
	switch {
	case len(a.Before) == 0:
		return Standing{Whole: Everywhere}
	case !SameSize(a.Before, nodes) || !SameSize(a.Add, nodes):
		return Standing{Whole: Nowhere}
	case slices.ContainsFunc(nodes, func(row []int64) bool { return len(row) != len(nodes[0]) }):
		return Standing{Whole: Unclear}
	}
	return tell(a, nodes).standing()
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
