package analysis_test

import (
	"math"
	"strings"
	"testing"

	"abbed/analysis"
)

// Moody's surface plate of 1955, the two centre lines (numbers as corrected in
// ballen4705/Moody-Method; read): heights in um, from one end to the other.
var (
	moodyEW = []float64{.493, .763, 1.379, 1.847, 2.512, 2.931, 3.103, 3.276, 3.349, 3.423, 3.005, 2.832, 2.414, 1.847, 1.625, 1.256, .887}
	moodyNS = []float64{3.891, 3.842, 3.694, 3.497, 3.399, 3.349, 3.448, 3.842, 4.187, 4.384, 4.532}
)

// moodyBed spans the plate's two centre lines over the reach, scaled so that
// its flatness (4.532 um) becomes 0.35 mm.
func moodyBed(u, v float64) float64 {
	at := func(line []float64, x float64) float64 {
		k := min(max((x+1)/2, 0), 1) * float64(len(line)-1)
		i := min(int(k), len(line)-2)
		return line[i] + (k-float64(i))*(line[i+1]-line[i])
	}
	return 0.35 / 4.532 * (at(moodyEW, (u-117.5)/97.5) + at(moodyNS, (v-132.5)/82.5))
}

// A real plate under a square head: no table. Under a twisted one: the twist
// comes back, and the plate does not leak into the table.
func TestMoodyPlate(t *testing.T) {
	square := good()
	square.bed = moodyBed
	twisted := square
	twisted.gap = shaped(func(x, y float64) float64 { return 0.15 * x })
	for seed := range uint64(10) {
		run := simulate(square, twenty(), seed+1)
		v := analysis.Judge(run)
		if _, r := v.Table(run); code(r) != analysis.NotNeeded {
			t.Errorf("seed %d, square head: %+v, findings %+v", seed, r, v.Findings)
		}
		if v.Findings[0].ID != analysis.TrueShape {
			t.Errorf("seed %d, square head: %s", seed, v.Findings[0].ID)
		}
		run = simulate(twisted, twenty(), seed+1)
		table, r := analysis.Judge(run).Table(run)
		if r != nil {
			t.Fatalf("seed %d, twisted head: %+v", seed, r)
		}
		out := 0
		for _, n := range table.Nodes {
			if math.Abs(float64(n.Add)/1000+twisted.trueGap(n.Place, twenty().zero)) > float64(n.U95)/1000 {
				out++
			}
		}
		if e := tableError(twisted, twenty(), table); e > 0.010 || out > 8 {
			t.Errorf("seed %d: the table leaves %.4f mm rms, %d of 25 nodes beyond their doubt", seed, e, out)
		}
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
