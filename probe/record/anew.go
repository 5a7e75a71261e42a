package record

import (
	"math"
	"slices"
)

// measured judges a map most of whose nodes hold neither.
func (l look) measured() Standing {
	r := untilted(l.d)
	s := Standing{Scatter: spread(r), Whole: Nowhere}
	k, _ := projection(level(l.d, mean), level(l.add, mean), s.Scatter)
	kr, u := projection(r, untilted(l.add), s.Scatter)
	switch {
	case l.written(r):
		s.Whole = Partly
	case (k >= 0.5 || kr >= 0.5 && u < 0.15) && spread(level(plus(l.d, l.add, -1), median)) <= 3*s.Scatter:
		s.Whole = Unclear
	default:
		s.Nodes = l.states(NodeBefore, func(int, int) NodeState { return NodeBefore })
		return s
	}
	s.Nodes = l.states(NodeOther, func(j, i int) NodeState {
		if l.mute > 0 || l.home[j][i] != NodeAfter || math.Abs(l.add[j][i]) < l.sure() && l.beside(j, i, NodeAfter) < 2 {
			return NodeOther
		}
		return NodeAfter
	})
	return s
}

// written reports whether something of what was written is left in a map that was
// measured anew: a node holds it that stands apart from the others, more nodes do than by
// chance, or a row or a column; or one of them, or a node, looks like it beyond the
// scatter of r. Where the printer prints hundredths, and
// the additions are alike, what was written also shows where a tilt is as large.
func (l look) written(r [][]float64) bool {
	const around = 60 // um: so far from what was written the nodes lie as thick as at it
	near, count, wide, s := 0, 0, 2*l.mute+1, spread(r)
	at := plus(r, r, -1) // 1: the node holds what was written, 0.5: or a tilt
	for j, row := range l.home {
		for i, is := range row {
			big, apart := math.Abs(r[j][i]), math.Abs(r[j][i]-l.add[j][i])
			if add := math.Abs(l.add[j][i]); is == NodeAfter && big > 3*s+l.mute || add >= 4*max(s, twoMaps) && 4*apart <= add {
				return true
			}
			switch {
			case is == NodeAfter && l.mute == 0:
				at[j][i] = 1
				count++
			case is == NodeAfter:
				at[j][i] = 0.5
			case math.Abs(l.add[j][i]) > l.mute && math.Abs(l.d[j][i]-l.add[j][i]) <= around:
				near++
			}
		}
	}
	chance := float64(near) * wide / (2*around + 1 - wide) / float64(l.moved)
	if float64(count) > 3+3*chance*float64(l.moved) || 3*l.after > l.moved {
		return true
	}
	for _, g := range [][3][][]float64{{r, l.add, at}, {turned(r), turned(l.add), turned(at)}} {
		for n, add := range g[1] {
			sure := 1.0
			if slices.Max(add)-slices.Min(add) > around {
				sure = 0.5
			}
			hold := 0
			for _, v := range g[2][n] {
				if v >= sure {
					hold++
				}
			}
			k, u := projection(g[0][n:n+1], g[1][n:n+1], s)
			if k > max(0.3, 4*u) || len(add) > 3 && float64(hold) > (0.5+3*chance)*float64(len(add)) {
				return true
			}
		}
	}
	return false
}

// projection returns k = sum(d add) / sum(add^2) and its standard uncertainty for
// independent d of standard deviation s. What is beyond 1.5 times the addition at a node
// is cut there, so that one node that somebody set does not speak for all.
func projection(d, add [][]float64, s float64) (k, u float64) {
	var up, down float64
	for j, row := range add {
		for i, a := range row {
			most := 1.5 * max(math.Abs(a), 2*s)
			up += max(-most, min(most, d[j][i])) * a
			down += a * a
		}
	}
	if down == 0 {
		return 0, math.Inf(1)
	}
	return up / down, s / math.Sqrt(down)
}

// untilted returns a grid less its offset and tilt, by medians: of the slopes between
// any two nodes of a row, or column, then of what is left (Theil, 1950; Sen, 1968; from
// memory), so that a row that stands apart does not bend them.
func untilted(d [][]float64) [][]float64 {
	x, y := slope(d), slope(turned(d))
	tilt := make([][]float64, len(d))
	for j, row := range d {
		for i := range row {
			tilt[j] = append(tilt[j], x*float64(i)+y*float64(j))
		}
	}
	return level(plus(d, tilt, -1), median)
}

// level returns a grid less its middle.
func level(d [][]float64, middle func([]float64) float64) [][]float64 {
	m := middle(slices.Concat(d...))
	out := make([][]float64, len(d))
	for j, row := range d {
		for _, v := range row {
			out[j] = append(out[j], v-m)
		}
	}
	return out
}

func slope(d [][]float64) float64 {
	var all []float64
	for _, row := range d {
		for i := range row {
			for n := range i {
				all = append(all, (row[i]-row[n])/float64(i-n))
			}
		}
	}
	return median(all)
}

func plus(d, e [][]float64, times float64) [][]float64 {
	out := make([][]float64, len(d))
	for j, row := range d {
		for i, v := range row {
			out[j] = append(out[j], v+times*e[j][i])
		}
	}
	return out
}

func turned(d [][]float64) [][]float64 {
	out := make([][]float64, len(d[0]))
	for _, row := range d {
		for i, v := range row[:min(len(row), len(out))] {
			out[i] = append(out[i], v)
		}
	}
	return out
}

// spread is the standard deviation of a normal distribution with the median of |r|, 1 um
// at least.
func spread(r [][]float64) float64 {
	var all []float64
	for _, v := range slices.Concat(r...) {
		all = append(all, math.Abs(v))
	}
	return max(1, 1.4826*median(all))
}

func mean(all []float64) float64 {
	sum := 0.0
	for _, v := range all {
		sum += v
	}
	return sum / float64(len(all))
}

func median(all []float64) float64 {
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return (all[(len(all)-1)/2] + all[len(all)/2]) / 2
}
