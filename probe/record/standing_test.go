package record_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"abbed/probe/record"
)

// grid makes a map of n by n nodes, um, in the printer's steps.
func grid(n int, step int64, of func(i, j int) float64) [][]int64 {
	out := make([][]int64, n)
	for j := range out {
		for i := range n {
			out[j] = append(out[j], int64(math.Round(of(i, j)/float64(step)))*step)
		}
	}
	return out
}

const (
	other = record.NodeOther
	isOld = record.NodeBefore
	isNew = record.NodeAfter
)

// TestStanding holds what Applied.In says of a map of three rows.
func TestStanding(t *testing.T) {
	a := record.Applied{
		Before: [][]int64{{11, -20, 30, 41}, {40, 50, -60, 7}, {0, 80, 90, 33}},
		Add:    [][]int64{{-150, -40, 0, 150}, {-150, -40, 40, 150}, {-150, -40, 40, 150}},
	}
	set := func(base [][]int64, at map[[2]int]int64) [][]int64 {
		out := record.Plus(base, nil, 0)
		for p, by := range at {
			out[p[1]][p[0]] += by
		}
		return out
	}
	after := a.After()
	row := func(base, other [][]int64, j int) [][]int64 {
		out := record.Plus(base, nil, 0)
		out[j] = other[j]
		return out
	}
	anew := record.Plus(a.Before, [][]int64{{3, -4, 2, 5}, {-6, 2, -1, 3}, {4, -2, 6, -3}}, 1)
	tilted := record.Plus(anew, [][]int64{{31, 61, 91, 121}, {40, 70, 100, 130}, {49, 79, 109, 139}}, 1)
	all := func(s record.NodeState) [][]record.NodeState {
		out := make([][]record.NodeState, 3)
		for j := range out {
			out[j] = []record.NodeState{s, s, s, s}
		}
		return out
	}
	for name, c := range map[string]struct {
		now   [][]int64
		whole record.Whole
		exact bool
		nodes [][]record.NodeState // nil: not looked at
	}{
		"as before":            {a.Before, record.Nowhere, true, all(isOld)},
		"as written":           {after, record.Everywhere, true, all(isNew)},
		"half written":         {row(after, a.Before, 2), record.Partly, true, [][]record.NodeState{{isNew, isNew, isNew, isNew}, {isNew, isNew, isNew, isNew}, {isOld, isOld, isOld, isOld}}},
		"another size":         {[][]int64{{1, 2}, {3, 4}}, record.Nowhere, false, nil},
		"a large one edited":   {set(after, map[[2]int]int64{{0, 1}: 5}), record.Everywhere, false, all(isNew)},
		"a small one edited":   {set(after, map[[2]int]int64{{1, 1}: 5}), record.Partly, false, [][]record.NodeState{{isNew, isNew, isNew, isNew}, {isNew, other, isNew, isNew}, {isNew, isNew, isNew, isNew}}},
		"none to it, edited":   {set(after, map[[2]int]int64{{2, 0}: 300}), record.Everywhere, false, all(isNew)},
		"far edited":           {set(after, map[[2]int]int64{{3, 0}: -500}), record.Partly, false, nil},
		"one at the old value": {set(after, map[[2]int]int64{{3, 0}: -150}), record.Partly, true, nil},
		"the old one edited":   {set(a.Before, map[[2]int]int64{{0, 0}: 70, {3, 2}: -9}), record.Nowhere, false, nil},
		"one at the new value": {set(a.Before, map[[2]int]int64{{0, 0}: -150}), record.Partly, true, nil},
		"one row anew":         {row(after, anew, 0), record.Partly, false, [][]record.NodeState{{other, other, isNew, other}, {isNew, isNew, isNew, isNew}, {isNew, isNew, isNew, isNew}}},
		"measured again":       {anew, record.Nowhere, false, all(isOld)},
		"and a row is left":    {row(anew, after, 1), record.Partly, false, nil},
		"levelled and anew":    {tilted, record.Nowhere, false, all(isOld)},
		"each node near it":    {record.Plus(anew, a.Add, 1), record.Unclear, false, nil},
	} {
		s := a.In(c.now)
		if s.Whole != c.whole || s.Exact != c.exact || c.nodes != nil && !reflect.DeepEqual(s.Nodes, c.nodes) {
			t.Errorf("%s: whole %d, exact %v, nodes %v; want %d, %v, %v", name, s.Whole, s.Exact, s.Nodes, c.whole, c.exact, c.nodes)
		}
	}
	if s := (record.Applied{Add: a.Add}).In(anew); s.Whole != record.Everywhere {
		t.Error("without Before it is not believed")
	}
}

// TestStandingTells: over beds, corrections, scatter and tilt, and printers that print
// thousandths or hundredths: what is in force is never taken to be out, nor the other
// way round; a map that was measured anew is known as that but once in twenty times at
// most (one in five where it scatters more than any correction is offered for), and one in
// which a row is left, or a node that stands out by ten times the scatter, is never taken to be without it.
func TestStandingTells(t *testing.T) {
	const seeds = 60
	shapes := map[string]func(x, y float64) float64{
		"twist": func(x, _ float64) float64 { return 200*x + 30*x*x*x },
		"bow":   func(x, y float64) float64 { return 250*x*x + 20*x*y - 100 },
	}
	for shape, add := range shapes {
		for _, step := range []int64{1, 10} {
			for _, n := range []int{3, 5, 7} {
				for _, sigma := range []float64{2, 5, 15, 30} {
					name := fmt.Sprintf("%s of %d nodes, step %d um, scatter %g um", shape, n*n, step, sigma)
					known, missed := 0, 0
					for seed := range seeds {
						rnd := rand.New(rand.NewPCG(uint64(seed), 3))
						at := func(i int) float64 { return 2*float64(i)/float64(n-1) - 1 }
						a := record.Applied{
							Before: grid(n, step, func(i, j int) float64 { return 200*math.Sin(float64(i)+float64(j)/2) + 5*rnd.NormFloat64() }),
							Add:    grid(n, 1, func(i, j int) float64 { return add(at(i), at(j)) }),
						}
						after := grid(n, step, func(i, j int) float64 { return float64(a.Before[j][i] + a.Add[j][i]) })
						x, y, up := 30*rnd.NormFloat64(), 30*rnd.NormFloat64(), 30*rnd.NormFloat64()
						anew := grid(n, step, func(i, j int) float64 {
							return float64(a.Before[j][i]) + up + x*at(i) + y*at(j) + sigma*rnd.NormFloat64()
						})
						if w := a.In(after).Whole; w != record.Everywhere {
							t.Fatalf("%s, seed %d: as written: %d", name, seed, w)
						}
						if w := a.In(a.Before).Whole; w != record.Nowhere {
							t.Fatalf("%s, seed %d: as before: %d", name, seed, w)
						}
						switch a.In(anew).Whole {
						case record.Nowhere:
							known++
						case record.Everywhere:
							t.Errorf("%s, seed %d: measured anew, and everywhere", name, seed)
						}
						// Begun to be written, then two nodes edited: nothing was measured anew.
						begun := record.Plus(a.Before, nil, 0)
						begun[0][0] = after[0][0]
						begun[0][n-1], begun[1][0] = begun[0][n-1]+10, begun[1][0]+10
						if s := a.In(begun); s.Whole != record.Partly || s.Nodes[0][0] != isNew || n > 3 && s.Scatter > 0 {
							t.Errorf("%s, seed %d: begun, and edited: %+v", name, seed, s)
						}
						one, left := record.Plus(after, nil, 0), record.Plus(anew, nil, 0)
						r := rnd.IntN(n)
						one[r], left[r] = anew[r], after[r]
						if w := a.In(one).Whole; w != record.Partly {
							t.Errorf("%s, seed %d: a row measured anew: %d", name, seed, w)
						}
						if a.In(left).Whole == record.Nowhere {
							missed++
						}
						left = record.Plus(anew, nil, 0)
						if c := rnd.IntN(n); math.Abs(float64(a.Add[r][c]-anew[r][c]+a.Before[r][c])) > max(60, 10*sigma) && a.Add[r][c]*a.Add[r][c] > 30*30 {
							if left[r][c] = after[r][c]; a.In(left).Whole == record.Nowhere {
								missed++
							}
						}
					}
					if sigma <= 21 && 20*known < 19*seeds || 5*known < 4*seeds || missed > 0 {
						t.Errorf("%s: %d of %d measured anew are known, %d with something left are not", name, known, seeds, missed)
					}
				}
			}
		}
	}
}
