package bench

import "math"

// grid is a stored map: heights at its nodes, [row][column], mm, over a
// rectangle.
type grid struct {
	area Rect
	z    [][]float64
}

func newGrid(area Rect, cols, rows int) grid {
	g := grid{area: area, z: make([][]float64, rows)}
	for j := range g.z {
		g.z[j] = make([]float64, cols)
	}
	return g
}

func (g grid) clone() grid {
	c := newGrid(g.area, len(g.z[0]), len(g.z))
	for j := range g.z {
		copy(c.z[j], g.z[j])
	}
	return c
}

// at interpolates bilinearly; beyond the rim the edge goes on level.
func (g grid) at(x, y float64) float64 {
	rows, cols := len(g.z), len(g.z[0])
	i, fx := cell(x, g.area.X0, g.area.X1, cols)
	j, fy := cell(y, g.area.Y0, g.area.Y1, rows)
	low := g.z[j][i] + fx*(g.z[j][i+1]-g.z[j][i])
	high := g.z[j+1][i] + fx*(g.z[j+1][i+1]-g.z[j+1][i])
	return low + fy*(high-low)
}

func cell(x, x0, x1 float64, n int) (i int, f float64) {
	p := max(0, min(float64(n-1), (x-x0)/(x1-x0)*float64(n-1)))
	i = min(int(p), n-2)
	return i, p - float64(i)
}

// round3 rounds to micrometres, as a printer prints its map.
func round3(z float64) float64 { return math.Round(z*1000) / 1000 }

// MeasureMap has the printer measure its map anew with its own probe and keep
// it, as its owner does at its display. The head stays where it is.
func (p *Printer) MeasureMap() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.maps++
	p.kept.stored = measure(p.body, p.scenario.Probe, p.seed+1000*p.maps)
	p.stored = p.kept.stored.clone()
}

// measure makes the map as the printer would have: with its own probe, one
// row after the other, there and back.
func measure(b *body, p Probe, seed uint64) grid {
	f := newFeeler(p, seed, 2)
	f.idle = false
	g := newGrid(b.Area, b.Cols, b.Rows)
	xc, _ := b.Bed.middle()
	var u0, v0 float64
	for j := range b.Rows {
		for k := range b.Cols {
			i := k
			if j%2 == 1 {
				i = b.Cols - 1 - k
			}
			u, v := b.node(i, j)
			f.travel(u-u0, v-v0)
			u0, v0 = u, v
			f.last = 0
			g.z[j][i] = round3(f.step(b.mapValue(u, v) + f.error(u-b.Lever[0], xc, 0)))
		}
	}
	return g
}
