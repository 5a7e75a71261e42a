package analysis_test

import (
	"math"
	"strings"
	"sync"
	"testing"

	"abbed/analysis"
)

// Moody's surface plate of 1955 (numbers as corrected in ballen4705/Moody-Method;
// read): heights in um at the stations of the eight autocollimator lines, each
// from the corner or side named first to the other; x from west to east and y from
// south to north run from -1 to 1.
var moody = []struct {
	from, to [2]float64
	um       []float64
}{
	{[2]float64{-1, 1}, [2]float64{1, -1}, []float64{1.576, 2.266, 2.709, 2.66, 2.709, 2.906, 3.152, 3.349, 3.3, 3.497, 3.349, 3.3, 3.349, 3.448, 3.349, 3.103, 2.66, 2.758, 2.66, 2.364, 1.576}},
	{[2]float64{1, 1}, [2]float64{-1, -1}, []float64{.739, 1.606, 1.882, 2.157, 2.335, 2.66, 3.083, 3.162, 3.241, 3.517, 3.349, 3.133, 2.965, 2.798, 2.778, 2.463, 2.148, 1.832, 1.813, 1.547, .739}},
	{[2]float64{1, 1}, [2]float64{-1, 1}, []float64{.739, 1.404, 1.675, 2.34, 2.906, 3.423, 3.793, 3.719, 3.891, 3.719, 3.448, 3.226, 2.955, 2.586, 2.266, 2.192, 1.576}},
	{[2]float64{1, 1}, [2]float64{1, -1}, []float64{.739, .936, .443, .148, 0, .148, .197, .394, .837, 1.379, 1.576}},
	{[2]float64{1, -1}, [2]float64{-1, -1}, []float64{1.576, 2.475, 2.685, 3.189, 3.645, 3.904, 4.261, 4.519, 4.532, 4.248, 3.719, 3.189, 2.561, 1.933, 1.355, 1.071, .739}},
	{[2]float64{-1, 1}, [2]float64{-1, -1}, []float64{1.576, 1.882, 1.497, 1.064, .729, .542, .108, .365, .67, .975, .739}},
	{[2]float64{1, 0}, [2]float64{-1, 0}, []float64{.493, .763, 1.379, 1.847, 2.512, 2.931, 3.103, 3.276, 3.349, 3.423, 3.005, 2.832, 2.414, 1.847, 1.625, 1.256, .887}},
	{[2]float64{0, 1}, [2]float64{0, -1}, []float64{3.891, 3.842, 3.694, 3.497, 3.399, 3.349, 3.448, 3.842, 4.187, 4.384, 4.532}},
}

// moodySurface is the plate between its lines, um: each station weighs by the
// inverse third power of its distance (Shepard, Proc. 23rd ACM Nat. Conf., 1968;
// from memory), so that the surface goes through them.
func moodySurface(x, y float64) float64 {
	sum, all := 0.0, 0.0
	for _, l := range moody {
		for i, h := range l.um {
			k := float64(i) / float64(len(l.um)-1)
			d := math.Hypot(x-l.from[0]-k*(l.to[0]-l.from[0]), y-l.from[1]-k*(l.to[1]-l.from[1]))
			w := 1 / math.Pow(d+1e-4, 3)
			sum, all = sum+w*h, all+w
		}
	}
	return sum / all
}

// moodyGrid keeps the surface on a lattice: linear between its points.
var moodyGrid = sync.OnceValue(func() [][]float64 {
	const n = 65
	out := make([][]float64, n)
	for j := range out {
		for i := range n {
			out[j] = append(out[j], moodySurface(2*float64(i)/(n-1)-1, 2*float64(j)/(n-1)-1))
		}
	}
	return out
})

// moodyBed is the plate as a printer's bed over the reach, scaled so that its
// flatness (4.532 um) becomes 0.35 mm.
func moodyBed(u, v float64) float64 {
	g := moodyGrid()
	at := func(w float64) (int, float64) {
		k := min(max((w+1)/2, 0), 1) * float64(len(g)-1)
		i := min(int(k), len(g)-2)
		return i, k - float64(i)
	}
	i, a := at((u - 117.5) / 97.5)
	j, b := at((v - 132.5) / 82.5)
	low := g[j][i] + a*(g[j][i+1]-g[j][i])
	high := g[j+1][i] + a*(g[j+1][i+1]-g[j+1][i])
	return 0.35 / 4.532 * (low + b*(high-low))
}

// The flatness of the plate: 178.411 uin = 4.53165 um (read), the highest station
// above the lowest; and the surface goes through the stations.
func TestMoodyFlatness(t *testing.T) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range moody {
		for _, h := range l.um {
			lo, hi = math.Min(lo, h), math.Max(hi, h)
		}
	}
	if d := hi - lo; math.Abs(d-178.411*0.0254) > 0.0005 {
		t.Errorf("flatness %.4f um, want 4.5317", d)
	}
	if h := moodySurface(1, -1); math.Abs(h-1.576) > 0.01 {
		t.Errorf("%.3f um in the corner SE, want 1.576", h)
	}
}

// A real plate, densely surveyed, under a square head: the table is zero within
// its u95, and none is offered. Under a twisted one: the twist comes back, and the
// plate does not leak into the table.
func TestMoodyPlate(t *testing.T) {
	dense := twenty()
	dense.cols, dense.rows = 49, 17
	square := good()
	square.bed = moodyBed
	twisted := square
	twisted.gap = shaped(func(x, y float64) float64 { return 0.15 * x })
	zero, nodes := 0, 0
	for seed := range uint64(10) {
		run := simulate(square, dense, seed+1)
		v := analysis.Judge(run)
		for _, p := range grid(dense.reach, 5, 5) {
			g, u, why := v.Gap.At(p)
			if why != nil {
				t.Fatal(why)
			}
			if nodes++; math.Abs(g) <= u {
				zero++
			}
		}
		if _, r := v.Table(run); code(r) != analysis.NotNeeded {
			t.Errorf("seed %d, square head: %+v, findings %+v", seed, r, v.Findings)
		}
		if v.Findings[0].ID != analysis.TrueShape {
			t.Errorf("seed %d, square head: %s", seed, v.Findings[0].ID)
		}
		run = simulate(twisted, dense, seed+1)
		table, r := analysis.Judge(run).Table(run)
		if r != nil {
			t.Fatalf("seed %d, twisted head: %+v", seed, r)
		}
		out := 0
		for _, n := range table.Nodes {
			if math.Abs(float64(n.Add)/1000+twisted.trueGap(n.Place, dense.zero)) > float64(n.U95)/1000 {
				out++
			}
		}
		if e := tableError(twisted, dense, table); e > 0.010 || out > 8 {
			t.Errorf("seed %d: the table leaves %.4f mm rms, %d of 25 nodes beyond their doubt", seed, e, out)
		}
	}
	if float64(zero) < 0.95*float64(nodes) {
		t.Errorf("square head: zero within its u95 at %d of %d nodes", zero, nodes)
	}
}

// Angle times lever: 2 degrees at 40 mm make 40 sin 2 deg = 1.396 mm (common
// practice arithmetic, no source); told back in degrees.
func TestAngle(t *testing.T) {
	m := good()
	m.lever.Y = 40
	m.gap = shaped(func(x, y float64) float64 { return 40 * math.Sin(x*math.Pi/180) })
	run := simulate(m, twenty(), 4)
	run.Setup.Criteria.Largest, run.Setup.Criteria.Steepest = 2, 0.1
	v := analysis.Judge(run)
	if e := v.Findings[0].Evidence; !strings.Contains(e, "rolls by 2.00 ±") && !strings.Contains(e, "rolls by 1.99 ±") && !strings.Contains(e, "rolls by 2.01 ±") {
		t.Errorf("evidence %q, want 2.00 deg", e)
	}
	right, _, _ := v.Gap.At(grid(twenty().reach, 2, 3)[3])
	left, _, _ := v.Gap.At(grid(twenty().reach, 2, 3)[2])
	if d := right - left; math.Abs(d-1.396) > 0.03 {
		t.Errorf("from edge to edge %.3f mm, want 1.396", d)
	}
}
