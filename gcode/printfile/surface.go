package printfile

import (
	"fmt"
	"math"
)

// Surface is a correction over the bed.
type Surface interface {
	// Add returns what to add to Z at (x, y), mm.
	Add(x, y float64) float64
	// Bulge returns how far Add can be, at most, from the straight line between
	// its values at the ends of a straight way, mm. It must fall to zero with the
	// length of the way.
	Bulge(x0, y0, x1, y1 float64) float64
	// Bounds returns the largest |Add|, mm, and its steepest slope in any
	// direction, mm per mm.
	Bounds() (largest, slope float64)
	// Outside returns how far (x, y) is outside what was measured, mm; 0 inside.
	Outside(x, y float64) float64
}

// Grid is a Surface between nodes: bilinear inside, the value of the nearest edge
// outside.
type Grid struct {
	x0, y0, dx, dy float64
	columns, rows  int
	add            []float64 // rows along X, from the smallest Y
	bendX, bendY   []float64 // the largest change of slope at each column and row
	twist          float64   // the largest mixed second derivative, 1/mm
	largest, slope float64
}

// NewGrid returns the grid whose first node is at (x0, y0) and whose last is at
// (x1, y1); add[j][i] is the node i along X and j along Y, mm.
func NewGrid(x0, y0, x1, y1 float64, add [][]float64) (*Grid, error) {
	g := &Grid{x0: x0, y0: y0, rows: len(add)}
	if g.rows > 0 {
		g.columns = len(add[0])
	}
	if g.rows < 2 || g.columns < 2 {
		return nil, fmt.Errorf("printfile: grid of %d x %d nodes: at least 2 x 2 are needed", g.columns, g.rows)
	}
	if !(x1 > x0) || !(y1 > y0) || math.IsInf(x1-x0, 0) || math.IsInf(y1-y0, 0) {
		return nil, fmt.Errorf("printfile: grid from (%g, %g) to (%g, %g): the second must lie above the first along both axes", x0, y0, x1, y1)
	}
	for j, row := range add {
		if len(row) != g.columns {
			return nil, fmt.Errorf("printfile: grid: row %d holds %d nodes, the first %d", j, len(row), g.columns)
		}
		for i, v := range row {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, fmt.Errorf("printfile: grid: node (%d, %d) is %g", i, j, v)
			}
			g.largest = math.Max(g.largest, math.Abs(v))
		}
		g.add = append(g.add, row...)
	}
	g.dx, g.dy = (x1-x0)/float64(g.columns-1), (y1-y0)/float64(g.rows-1)
	g.measure()
	return g, nil
}

// measure fills the bounds.
func (g *Grid) measure() {
	g.bendX, g.bendY = make([]float64, g.columns), make([]float64, g.rows)
	at := func(i, j int) float64 {
		return g.add[min(max(j, 0), g.rows-1)*g.columns+min(max(i, 0), g.columns-1)]
	}
	var alongX, alongY float64
	for j := range g.rows {
		for i := range g.columns {
			left, right := (at(i, j)-at(i-1, j))/g.dx, (at(i+1, j)-at(i, j))/g.dx
			front, back := (at(i, j)-at(i, j-1))/g.dy, (at(i, j+1)-at(i, j))/g.dy
			g.bendX[i] = math.Max(g.bendX[i], math.Abs(right-left))
			g.bendY[j] = math.Max(g.bendY[j], math.Abs(back-front))
			alongX, alongY = math.Max(alongX, math.Abs(right)), math.Max(alongY, math.Abs(back))
			t := (at(i+1, j+1) - at(i, j+1) - at(i+1, j) + at(i, j)) / (g.dx * g.dy)
			g.twist = math.Max(g.twist, math.Abs(t))
		}
	}
	g.slope = math.Hypot(alongX, alongY)
}

// cell returns the place in units of cells, kept inside, and its cell.
func cell(v float64, n int) (at float64, i int) {
	at = min(max(v, 0), float64(n-1))
	return at, min(int(at), n-2)
}

// Add returns the addition at (x, y), mm.
func (g *Grid) Add(x, y float64) float64 {
	u, i := cell((x-g.x0)/g.dx, g.columns)
	v, j := cell((y-g.y0)/g.dy, g.rows)
	u, v = u-float64(i), v-float64(j)
	k := j*g.columns + i
	a, b := g.add[k], g.add[k+1]
	c, d := g.add[k+g.columns], g.add[k+g.columns+1]
	front := a + u*(b-a)
	return front + v*(c+u*(d-c)-front)
}

// Bulge bounds the bulge along a straight way. Along it, with t from 0 to 1, Add
// is a sum of hinges where the way crosses columns and rows, each k max(0, t-t0)
// and so at most k/4 from its chord, and of pieces whose second derivative is at
// most 2 twist |dx dy|, at most an eighth of that from the chord.
func (g *Grid) Bulge(x0, y0, x1, y1 float64) float64 {
	wx, wy := math.Abs(x1-x0), math.Abs(y1-y0)
	sum := g.twist * wx * wy
	sum += wx * hinges(g.bendX, (x0-g.x0)/g.dx, (x1-g.x0)/g.dx)
	sum += wy * hinges(g.bendY, (y0-g.y0)/g.dy, (y1-g.y0)/g.dy)
	return sum / 4
}

// hinges sums the bends that lie between a and b, in units of cells.
func hinges(bends []float64, a, b float64) float64 {
	if a > b {
		a, b = b, a
	}
	lo, hi := max(a, -1), min(b, float64(len(bends)))
	sum := 0.0
	for i := max(int(math.Floor(lo))+1, 0); i < len(bends) && float64(i) < hi; i++ {
		sum += bends[i]
	}
	return sum
}

// Bounds returns the largest |Add|, mm, and the steepest slope, mm per mm.
func (g *Grid) Bounds() (largest, slope float64) { return g.largest, g.slope }

// Outside returns how far (x, y) is from the nearest edge of the nodes, mm.
func (g *Grid) Outside(x, y float64) float64 {
	x1, y1 := g.x0+g.dx*float64(g.columns-1), g.y0+g.dy*float64(g.rows-1)
	return math.Hypot(max(g.x0-x, x-x1, 0), max(g.y0-y, y-y1, 0))
}
