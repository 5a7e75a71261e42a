package analysis_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"abbed/analysis"
	"abbed/analysis/fit"
	ahead "abbed/analysis/plan"
	"abbed/probe/record"
)

// reachOf is where the probe of a usual head reaches on a square bed, mm.
func reachOf(bed float64) record.Rect {
	return record.Rect{X0: 20, Y0: 50, X1: bed - 20, Y1: bed - 20}
}

func needOf(bed, sigma float64) ahead.SurveyNeed {
	r := reachOf(bed)
	return ahead.SurveyNeed{Area: r, Zero: record.Place{U: bed / 2, V: r.Middle().V}, Scatter: sigma, Target: 0.005, Finest: 55}
}

// even are n columns at equal distances.
func even(r record.Rect, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = r.X0 + r.W()*float64(i)/float64(n-1)
	}
	return out
}

// fullGrid is the smallest plain grid of squares over the area that gives the
// profile to u95: equal distances both ways, least columns at least, one touch a
// place, no returns; with the same model of the profile and the same scatter.
func fullGrid(n ahead.SurveyNeed, least int, u95 float64) (columns, rows int) {
	for columns = least; ; columns++ {
		rows = 1 + int(math.Ceil(n.Area.H()*float64(columns-1)/n.Area.W()-1e-9))
		if ahead.ProfileU95(even(n.Area, columns), rows, n.Area, n.Zero.U, n.Scatter, 0) <= u95 {
			return columns, rows
		}
	}
}

// TestPlannedTouches holds the planned survey to at most 40 % of the touches of a
// plain full grid that gives the profile to the same wanted half width and shows the
// same shortest wave: both from their design matrices, with the same model (a level a
// row, a polynomial along X) and the same scatter. That holds while the shortest
// wave asks for the columns and the plain grid makes as many rows of it; where the
// scatter asks for the touches (8 um and more, 5 um on a small bed), each needs as many for it, and
// only the closer ends are won. Printed beside it: a plain grid that may be as coarse
// as it likes, and as good as the planned one turns out to be.
func TestPlannedTouches(t *testing.T) {
	for _, bed := range []float64{180, 235, 300, 350} {
		for _, sigma := range []float64{0.002, 0.005, 0.008, 0.015} {
			n := needOf(bed, sigma)
			p := ahead.PlanSurvey(n)
			if !p.Enough || p.U95 > n.Target {
				t.Errorf("bed %.0f, scatter %.0f um: %+v", bed, 1000*sigma, p)
			}
			c, r := fullGrid(n, p.Columns, n.Target)
			fc, fr := fullGrid(n, 6, p.U95)
			share, bound := float64(p.Touches)/float64(c*r), float64(p.Columns*p.Rows)/float64(fc*fr)
			if !*quiet {
				fmt.Printf("bed %.0f, scatter %2.0f um: planned %2d x %2d, %3d touches, u95 %.1f um; plain grid to %.0f um %2d x %2d = %4d: %.0f %%; any coarser one to %.1f um %2d x %2d = %4d: %.0f %%\n",
					bed, 1000*sigma, p.Columns, p.Rows, p.Touches, 1000*p.U95, 1000*n.Target, c, r, c*r, 100*share, 1000*p.U95, fc, fr, fc*fr, 100*bound)
			}
			if bed >= 235 && sigma <= 0.005 && share > 0.40 {
				t.Errorf("bed %.0f, scatter %.0f um: %.0f %% of a plain grid's touches, at most 40 %%", bed, 1000*sigma, 100*share)
			}
		}
	}
}

// What is given stands, whatever else is chosen; and more scatter, drift or less
// target never ask for less.
func TestPlanSurvey(t *testing.T) {
	n := needOf(235, 0.005)
	usual := ahead.PlanSurvey(n)
	if usual.Rows < 5 || usual.Columns < 8 || usual.Repeats != 1 {
		t.Errorf("usual: %+v", usual)
	}
	if returns := usual.Touches - usual.Columns*usual.Rows; returns < 5 {
		t.Errorf("%d returns", returns)
	}
	given := n
	given.Columns, given.Rows, given.BaseEvery = 11, 3, 3
	if p := ahead.PlanSurvey(given); p.Columns != 11 || p.Rows != 3 || p.BaseEvery != 3 || p.Touches != 35 {
		t.Errorf("given: %+v", p)
	}
	given = n
	given.Columns = 40
	if p := ahead.PlanSurvey(given); p.Columns != 40 || p.Rows > usual.Rows {
		t.Errorf("more columns: %+v", p)
	}
	loud := n
	loud.Scatter = 0.012
	if p := ahead.PlanSurvey(loud); p.Rows <= usual.Rows || !p.Enough {
		t.Errorf("louder: %+v", p)
	}
	sharp := n
	sharp.Target = 0.0005
	if p := ahead.PlanSurvey(sharp); p.Enough || p.Rows > 61 {
		t.Errorf("beyond reach: %+v", p)
	}
	n.Drift, n.Scatter = 0.001, 0.012 // 15 um a row
	slow := ahead.PlanSurvey(n)
	n.Drift = 0
	if still := ahead.PlanSurvey(n); slow.BaseEvery >= still.BaseEvery {
		t.Errorf("a return every %d rows with drift, every %d without", slow.BaseEvery, still.BaseEvery)
	}
	blind := n
	blind.Columns = 5 // tells no fifth power with something left beside it
	if p := ahead.PlanSurvey(blind); !math.IsInf(p.U95, 1) || p.Enough {
		t.Errorf("five columns tell five bends: %+v", p)
	}
	at := ahead.SurveyColumns(20, 215, usual.Columns)
	if at[0] != 20 || at[len(at)-1] != 215 || !slices.IsSorted(at) {
		t.Errorf("columns %v", at)
	}
}

// TestPlannedU95 holds what is promised of the profile to what surveys give: the
// error of the profile against the zero place, on machines whose profile is known,
// with the product's own decomposition and smoothing, against the promised half
// width (which is that of the worst place).
func TestPlannedU95(t *testing.T) {
	for _, sigma := range []float64{0.003, 0.005, 0.009} {
		n := needOf(235, sigma)
		p := ahead.PlanSurvey(n)
		s := standard()
		s.cols, s.rows, s.columns = p.Columns, p.Rows, ahead.SurveyColumns(n.Area.X0, n.Area.X1, p.Columns)
		s.places = nil
		for _, c := range []struct {
			name string
			wavy bool
			f    func(x, y float64) float64
		}{
			{"flat", false, func(x, y float64) float64 { return 0.1 * y }},
			{"bow", false, func(x, y float64) float64 { return 0.1 * x * x }},
			{"S shape", false, func(x, y float64) float64 { return 0.1*x*x*x + 0.05*x*x + 0.1*y*y }},
			{"wave of 120 mm", true, func(x, y float64) float64 { return 0.02 * math.Sin(97.5*x*2*math.Pi/120) }},
		} {
			m := good()
			m.scatter, m.gap = sigma, shaped(c.f)
			inside, all, ss := 0, 0, 0.0
			for seed := range max(*seeds, 10) {
				v := analysis.Judge(simulate(m, s, uint64(seed)+1))
				if v.Profile == nil {
					t.Fatalf("%s: no profile", c.name)
				}
				for _, e := range profileErrors(v.Profile, m, n) {
					all++
					ss += e * e
					if math.Abs(e) <= p.U95 {
						inside++
					}
				}
			}
			coverage, rms := float64(inside)/float64(all), math.Sqrt(ss/float64(all))
			if !*quiet {
				fmt.Printf("scatter %.0f um, %-14s %2d x %2d: promised u95 %.1f um, rms error %.1f um, coverage %.3f\n",
					1000*sigma, c.name, p.Columns, p.Rows, 1000*p.U95, 1000*rms, coverage)
			}
			if coverage < 0.95 {
				t.Errorf("scatter %.0f um, %s: promised u95 %.1f um covers %.3f", 1000*sigma, c.name, 1000*p.U95, coverage)
			}
			if c.wavy && rms < p.U95/5 {
				t.Errorf("scatter %.0f um, %s: promised u95 %.1f um, the errors are %.1f um: far too careful", 1000*sigma, c.name, 1000*p.U95, 1000*rms)
			}
		}
	}
}

// profileErrors are the errors of the profile against the zero place, mm, at places
// over the width: the truth is the mean over the rows, less its straight line
// through the columns.
func profileErrors(p *analysis.Profile, m machine, n ahead.SurveyNeed) []float64 {
	truly := func(u float64) float64 {
		f := 0.0
		for _, r := range p.Rows {
			f += (m.gap(u, r.At) + m.bed(u, r.At)) / float64(len(p.Rows))
		}
		return f
	}
	var k, mu, mf, uu, uf float64
	for _, c := range p.Columns {
		k, mu, mf = k+1, mu+c.At, mf+truly(c.At)
	}
	mu, mf = mu/k, mf/k
	for _, c := range p.Columns {
		uu, uf = uu+(c.At-mu)*(c.At-mu), uf+(c.At-mu)*(truly(c.At)-mf)
	}
	// A polynomial through the columns, of a degree that follows the wave.
	terms := func(u float64) []float64 {
		x := (u - n.Area.Middle().U) / (n.Area.W() / 2)
		out := make([]float64, 9)
		for k := range out {
			out[k] = math.Pow(x, float64(k))
		}
		return out
	}
	var rows [][]float64
	var y []float64
	for _, c := range p.Columns {
		rows, y = append(rows, terms(c.At)), append(y, c.Bend)
	}
	told, err := fit.Least(rows, y, nil)
	if err != nil {
		panic(err)
	}
	bend := func(u float64) float64 { return truly(u) - uf/uu*u }
	var out []float64
	for i := range 27 {
		u := n.Area.X0 + n.Area.W()*float64(i)/26
		out = append(out, told.Predict(terms(u))-told.Predict(terms(n.Zero.U))-(bend(u)-bend(n.Zero.U)))
	}
	return out
}
