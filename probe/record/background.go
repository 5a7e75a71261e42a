package record

import (
	"math"
	"slices"
)

// background is an offset and a tilt of what was measured anew, and the scatter about it.
type background struct {
	at, x, y, spread float64 // um, um a node, um a node, um
	n                int
}

// anew takes offset and tilt by medians: of the slopes between any two nodes of a row, or
// column, then of what is left (Theil, 1950; Sen, 1968; from memory). Where less than four
// nodes were measured anew, the bed stands as it did. The grid is d less times the addition.
func (e evidence) anew(times float64) background {
	type node struct{ i, j, v float64 }
	var all []node
	for j, row := range e.p {
		for i, p := range row {
			if e.moves(j, i) && p[measured] >= 0.5 {
				all = append(all, node{float64(i), float64(j), e.d[j][i] - times*e.add[j][i]})
			}
		}
	}
	b := background{n: len(all), spread: twoMaps}
	if b.n < 4 {
		return b
	}
	x, y := make([]float64, 3), make([]float64, 3) // a pair or two make no tilt
	var left []float64
	for k, n := range all {
		for _, o := range all[:k] {
			switch {
			case o.j == n.j:
				x = append(x, (n.v-o.v)/(n.i-o.i))
			case o.i == n.i:
				y = append(y, (n.v-o.v)/(n.j-o.j))
			}
		}
	}
	b.x, b.y = median(x), median(y)
	for _, n := range all {
		left = append(left, n.v-b.x*n.i-b.y*n.j)
	}
	b.at = median(left)
	for k := range left {
		left[k] = math.Abs(left[k] - b.at)
	}
	b.spread = min(2*twoMaps, max(2, e.width/2, 1.4826*median(left)))
	return b
}

// cost is how unlikely a background is: n ln spread, and its tilt over the map against
// 40 um, by which a bed is levelled otherwise.
func (b background) cost(e evidence) float64 {
	tilt := math.Hypot(b.x*float64(len(e.d[0])-1), b.y*float64(len(e.d)-1)) / 2
	return float64(b.n)*math.Log(b.spread) + tilt*tilt/(2*40*40)
}

func median(all []float64) float64 {
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return (all[(len(all)-1)/2] + all[len(all)/2]) / 2
}
