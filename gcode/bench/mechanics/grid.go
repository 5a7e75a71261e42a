package mechanics

import "math"

// Grid is a stored map: heights at its nodes, [row][column], mm, over a
// rectangle.
type Grid struct {
	Area Rect
	Z    [][]float64
}

func newGrid(area Rect, cols, rows int) Grid {
	g := Grid{Area: area, Z: make([][]float64, rows)}
	for j := range g.Z {
		g.Z[j] = make([]float64, cols)
	}
	return g
}

// Clone returns a copy.
func (g Grid) Clone() Grid {
	c := newGrid(g.Area, len(g.Z[0]), len(g.Z))
	for j := range g.Z {
		copy(c.Z[j], g.Z[j])
	}
	return c
}

// At interpolates bilinearly; beyond the rim the edge goes on level.
func (g Grid) At(x, y float64) float64 {
	rows, cols := len(g.Z), len(g.Z[0])
	i, fx := cell(x, g.Area.X0, g.Area.X1, cols)
	j, fy := cell(y, g.Area.Y0, g.Area.Y1, rows)
	low := g.Z[j][i] + fx*(g.Z[j][i+1]-g.Z[j][i])
	high := g.Z[j+1][i] + fx*(g.Z[j+1][i+1]-g.Z[j+1][i])
	return low + fy*(high-low)
}

func cell(x, x0, x1 float64, n int) (i int, f float64) {
	p := max(0, min(float64(n-1), (x-x0)/(x1-x0)*float64(n-1)))
	i = min(int(p), n-2)
	return i, p - float64(i)
}

// Round3 rounds to micrometres, as a printer prints its map.
func Round3(z float64) float64 { return math.Round(z*1000) / 1000 }

// Measure makes the map as the printer would have: with its own probe, one
// row after the other, there and back.
func Measure(b *Body, p Probe, seed uint64) Grid {
	f := NewFeeler(p, seed, 2)
	f.idle = false
	g := newGrid(b.Area, b.Cols, b.Rows)
	xc, _ := b.Bed.Middle()
	var u0, v0 float64
	for j := range b.Rows {
		for k := range b.Cols {
			i := k
			if j%2 == 1 {
				i = b.Cols - 1 - k
			}
			u, v := b.Node(i, j)
			f.Travel(u-u0, v-v0)
			u0, v0 = u, v
			f.last = 0
			g.Z[j][i] = Round3(f.Step(b.Map(u, v) + f.Error(u-b.Lever[0], xc, 0)))
		}
	}
	return g
}
