package record

import "math"

// What may have happened to a node.
const (
	stayed   = iota // it holds what was there before
	written         // it holds that and the addition
	measured        // the printer measured it anew
	adjusted        // written, and then changed by less than a quarter of the addition
	touched         // as it was, and then changed by less than a quarter of the addition
	set             // somebody set it to anything
	ways
)

// evidence weighs, node by node, what may have happened to a printed map since it was
// Before. With d = printed - before, w the width of a printed value (1 um, or 19 um
// where the printer prints hundredths), f the normal density of what is left of d beside
// the offset and tilt of a bed that was levelled and measured anew:
//
//	stayed    p(d) = 1 where d = 0
//	written          1 where d = add
//	measured         w f(d)
//	adjusted         edits w / (add/2) where |d - add| < |add|/4, and |add| >= 4 twoMaps
//	touched          edits w / (add/2) where |d| < |add|/4, and the same
//	set              edits w / 1000
//
// each times how much of it there is around the node: its row, its column and the nodes
// beside it, and, a fifth as much, all others; never the node itself. So a value that is
// hit by chance counts little, and much where its neighbours hit theirs.
type evidence struct {
	d, add [][]float64
	width  float64 // um: values so far apart may print alike
	p      [][][ways]float64
	back   background
	exact  bool
}

const (
	edits = 0.005 // of the nodes of a map that anybody edits by hand, at most
	wide  = 1000  // um: a node is set to a value within so much
	// before any node is seen, each way counts as so many nodes
	little = 0.03
	// twoMaps is the standard deviation, um, by which a node differs between two maps that
	// were measured on the same bed, at most: sqrt 2 times the largest scatter with which a
	// correction is offered (Criteria.Scatter, 0.015 mm).
	twoMaps = 21.0
	sure    = 0.9
	// harm is the addition, um, below which it does no harm to have it twice: the
	// tolerance of a first layer (Criteria.Tolerance).
	harm = 30
)

func tell(a Applied, nodes [][]int64) evidence {
	e := evidence{width: float64(2*Fineness(nodes) - 1), exact: true, back: background{spread: twoMaps}}
	for j, row := range nodes {
		d, add := make([]float64, len(row)), make([]float64, len(row))
		for i, v := range row {
			d[i], add[i] = float64(v-a.Before[j][i]), float64(a.Add[j][i])
			e.exact = e.exact && (e.same(d[i]) || e.same(d[i]-add[i]))
		}
		e.d, e.add, e.p = append(e.d, d), append(e.add, add), append(e.p, make([][ways]float64, len(row)))
	}
	for j, row := range e.d {
		for i := range row { // at first by what it looks like alone
			p := e.density(j, i)
			switch {
			case p[stayed] > 0:
				e.p[j][i][stayed] = 1
			case p[written] > 0:
				e.p[j][i][written] = 1
			default:
				e.p[j][i][measured] = 1
			}
		}
	}
	for range 12 {
		if e.back = e.anew(0); e.weigh() < 0.001 {
			break
		}
	}
	return e
}

func (e evidence) same(um float64) bool { return math.Abs(um) <= (e.width-1)/2 }

// moves reports whether enough is added to a node to show.
func (e evidence) moves(j, i int) bool { return !e.same(e.add[j][i]) }

// off is how far a node is from a bed that was levelled and measured anew.
func (e evidence) off(j, i int) float64 {
	return e.d[j][i] - e.back.at - e.back.x*float64(i) - e.back.y*float64(j)
}

// density is p(d) of each way at a node.
func (e evidence) density(j, i int) (p [ways]float64) {
	d, add := e.d[j][i], e.add[j][i]
	at, to := e.same(d), e.same(d-add)
	if at && to { // as finely as is printed it may be both
		at, to = math.Abs(d) <= math.Abs(d-add), math.Abs(d) > math.Abs(d-add)
	}
	if at {
		p[stayed] = 1
	}
	if to {
		p[written] = 1
	}
	z := e.off(j, i) / e.back.spread
	p[measured] = min(1, e.width*math.Exp(-z*z/2)/(e.back.spread*math.Sqrt(2*math.Pi)))
	if near := math.Abs(add) / 4; near >= twoMaps {
		if math.Abs(d-add) < near {
			p[adjusted] = edits * e.width / (2 * near)
		}
		if math.Abs(d) < near {
			p[touched] = edits * e.width / (2 * near)
		}
	}
	p[set] = edits * e.width / wide
	return p
}

// weigh gives each node the probability of each way, by what its neighbours are; it
// returns the largest change.
func (e evidence) weigh() (moved float64) {
	rows, columns, all := make([]shares, len(e.p)), make([]shares, len(e.p[0])), shares{}
	was := make([][]shares, len(e.p))
	for j, row := range e.p {
		was[j] = make([]shares, len(row))
		for i, p := range row {
			if e.moves(j, i) {
				was[j][i] = shares{p[stayed] + p[touched], p[written] + p[adjusted], p[measured]}
			}
			rows[j].plus(was[j][i], 0.8)
			columns[i].plus(was[j][i], 0.8)
			all.plus(was[j][i], 0.2)
		}
	}
	for j, row := range e.p {
		for i, old := range row {
			around := shares{little, little, little}
			around.plus(all, 1)
			around.plus(rows[j], 1)
			around.plus(columns[i], 1)
			around.plus(was[j][i], -1.8)
			for _, n := range [][2]int{{j - 1, i - 1}, {j - 1, i + 1}, {j + 1, i - 1}, {j + 1, i + 1}} {
				if n[0] >= 0 && n[0] < len(was) && n[1] >= 0 && n[1] < len(row) {
					around.plus(was[n[0]][n[1]], 0.8)
				}
			}
			row[i] = e.posterior(j, i, around)
			for k := range row[i] {
				moved = max(moved, math.Abs(row[i][k]-old[k]))
			}
		}
	}
	return moved
}

// shares are how many nodes stayed, were written and were measured anew.
type shares [3]float64

func (s *shares) plus(o shares, times float64) {
	for k, v := range o {
		s[k] += times * v
	}
}

func (e evidence) posterior(j, i int, around shares) (p [ways]float64) {
	n := around[stayed] + around[written] + around[measured]
	p = e.density(j, i)
	for k, at := range [ways]float64{around[stayed], around[written], around[measured], around[written], around[stayed], n} {
		p[k] *= at / n
	}
	n = 0
	for _, v := range p {
		n += v
	}
	for k := range p {
		p[k] /= n
	}
	return p
}

// sum is to how many nodes it happened, of those that the correction moves.
func (e evidence) sum(of func(p [ways]float64) float64) (sum, moved float64) {
	for j, row := range e.p {
		for i, p := range row {
			if e.moves(j, i) {
				sum += of(p)
				moved++
			}
		}
	}
	return sum, moved
}

// standing is what the evidence says.
func (e evidence) standing() Standing {
	s := Standing{Exact: e.exact, Whole: Nowhere}
	anew, moved := e.sum(func(p [ways]float64) float64 { return p[measured] })
	left, _ := e.sum(func(p [ways]float64) float64 { return p[written] + p[adjusted] })
	if 2*anew > moved {
		s.Scatter = e.back.spread
	}
	var is [3]int
	doubted := false
	for j, row := range e.p {
		s.Nodes = append(s.Nodes, make([]NodeState, len(row)))
		for i, p := range row {
			if !e.moves(j, i) {
				continue
			}
			has, not := p[written]+p[adjusted], p[stayed]+p[touched]
			// Where the correction is left in part, a node half way to it may have been edited.
			if s.Scatter > 0 && (left < 0.5 || 2*math.Abs(e.off(j, i)) < math.Abs(e.d[j][i]-e.add[j][i])) {
				not += p[measured]
			}
			switch {
			case has >= sure:
				s.Nodes[j][i] = NodeAfter
			case not >= sure:
				s.Nodes[j][i] = NodeBefore
			}
			big := math.Abs(e.add[j][i])
			near := p[set] > 0.5 && 4*math.Abs(e.d[j][i]-e.add[j][i]) < big
			doubted = doubted || big >= harm && (has > 0.3 || near)
			is[s.Nodes[j][i]]++
		}
	}
	most := NodeBefore
	if is[NodeAfter] > is[NodeBefore] {
		most = NodeAfter
	}
	for j, row := range s.Nodes {
		for i := range row {
			if !e.moves(j, i) {
				row[i] = most
			}
		}
	}
	switch {
	case is[NodeAfter] > 0 && is[NodeBefore]+is[NodeOther] == 0:
		s.Whole = Everywhere
	case doubted || is[NodeAfter] > 0:
		s.Whole = Partly
	case s.Scatter > 0 && e.anew(1).cost(e) < e.back.cost(e):
		s.Whole = Unclear
	}
	return s
}
