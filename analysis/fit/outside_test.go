package fit_test

import (
	"math"
	"testing"

	"abbed/analysis/fit"
)

// near fails if got is not want to the relative tolerance.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol*math.Max(math.Abs(want), 1e-300) || math.IsNaN(got) {
		t.Errorf("%s: got %.15g, want %.15g (to %g)", what, got, want, tol)
	}
}

func powers(x []float64, degree int) [][]float64 {
	var rows [][]float64
	for _, v := range x {
		row := make([]float64, degree+1)
		row[0] = 1
		for k := 1; k <= degree; k++ {
			row[k] = row[k-1] * v
		}
		rows = append(rows, row)
	}
	return rows
}

func must(t *testing.T, rows [][]float64, y, w []float64) fit.Result {
	t.Helper()
	r, err := fit.Least(rows, y, w)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// NIST StRD Norris (linear regression, low difficulty); data from SciPy's test
// files, certified values read.
func TestNorris(t *testing.T) {
	y := []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
	x := []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	r := must(t, powers(x, 1), y, nil)
	near(t, "b0", r.Coef[0], -0.262323073774029, 1e-11)
	near(t, "b1", r.Coef[1], 1.00211681802045, 1e-13)
	near(t, "s", r.S(), 0.884796396144373, 1e-12)
	near(t, "sd b0", r.U(0, r.S()), 0.232818234301152, 1e-12)
	near(t, "sd b1", r.U(1, r.S()), 0.429796848199937e-3, 1e-12)
}

// pontius is NIST StRD Pontius, a load cell: deflection over load; data from
// memory, which the certified values check.
func pontius() (load, deflection []float64) {
	deflection = []float64{.11019, .21956, .32949, .43899, .54803, .65694, .76562, .87487, .98292, 1.09146, 1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
		.11052, .22018, .32939, .43886, .54798, .65739, .76596, .87474, .98300, 1.09150, 1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829}
	for i := range deflection {
		load = append(load, 150000*float64(i%20+1))
	}
	return load, deflection
}

func TestPontius(t *testing.T) {
	x, y := pontius()
	r := must(t, powers(x, 2), y, nil)
	near(t, "b0", r.Coef[0], 0.673565789473684e-3, 1e-9)
	near(t, "b1", r.Coef[1], 0.732059160401003e-6, 1e-12)
	near(t, "b2", r.Coef[2], -0.316081871345029e-14, 1e-10)
}

// Lack of fit of the same load cell: NIST e-Handbook 4.6.1 (read; recomputed
// with R): the straight line fails, the quadratic stands.
func TestLoadCellLackOfFit(t *testing.T) {
	x, y := pontius()
	group := make([]int, len(x))
	for i := range group {
		group[i] = i % 20
	}
	pure, dof := fit.PureError(y, nil, group)
	line := must(t, powers(x, 1), y, nil)
	near(t, "s of the line", line.S(), 0.0021712726, 1e-7)
	v := fit.LackOfFit(line, pure, dof)
	near(t, "F of the line", v.F, 214.7469, 1e-5)
	near(t, "its df", v.DoF, 18, 0)
	near(t, "pure error df", dof, 20, 0)
	v = fit.LackOfFit(must(t, powers(x, 2), y, nil), pure, dof)
	near(t, "F of the quadratic", v.F, 0.81072, 1e-4)
	near(t, "its p", v.P, 0.66617, 1e-4)
}

// NIST StRD Longley (collinear regressors); data from memory, b0 certified.
func TestLongley(t *testing.T) {
	data := [][]float64{
		{60323, 83.0, 234289, 2356, 1590, 107608, 1947}, {61122, 88.5, 259426, 2325, 1456, 108632, 1948},
		{60171, 88.2, 258054, 3682, 1616, 109773, 1949}, {61187, 89.5, 284599, 3351, 1650, 110929, 1950},
		{63221, 96.2, 328975, 2099, 3099, 112075, 1951}, {63639, 98.1, 346999, 1932, 3594, 113270, 1952},
		{64989, 99.0, 365385, 1870, 3547, 115094, 1953}, {63761, 100.0, 363112, 3578, 3350, 116219, 1954},
		{66019, 101.2, 397469, 2904, 3048, 117388, 1955}, {67857, 104.6, 419180, 2822, 2857, 118734, 1956},
		{68169, 108.4, 442769, 2936, 2798, 120445, 1957}, {66513, 110.8, 444546, 4681, 2637, 121950, 1958},
		{68655, 112.6, 482704, 3813, 2552, 123366, 1959}, {69564, 114.2, 502601, 3931, 2514, 125368, 1960},
		{69331, 115.7, 518173, 4806, 2572, 127852, 1961}, {70551, 116.9, 554894, 4007, 2827, 130081, 1962},
	}
	var rows [][]float64
	var y []float64
	for _, d := range data {
		y = append(y, d[0])
		rows = append(rows, append([]float64{1}, d[1:]...))
	}
	r := must(t, rows, y, nil)
	near(t, "b0", r.Coef[0], -3482258.63459582, 1e-9)
}

// NIST StRD Wampler1: y = 1 + x + ... + x^5 on x = 0..20 (definition, from
// memory), all coefficients 1.
func TestWampler1(t *testing.T) {
	var x, y []float64
	for i := range 21 {
		v := float64(i)
		x = append(x, v)
		y = append(y, 1+v+v*v+v*v*v+v*v*v*v+v*v*v*v*v)
	}
	r := must(t, powers(x, 5), y, nil)
	for i, b := range r.Coef {
		near(t, "b"+string(rune('0'+i)), b, 1, 1e-7)
	}
}

// JCGM 100:2008 H.3, calibration of a thermometer: coefficients, their
// uncertainties and correlation, and the prediction at 30 degrees (read in
// MSLNZ/GTC's documentation).
func TestGUMH3(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	var rows [][]float64
	for _, v := range temp {
		rows = append(rows, []float64{1, v - 20})
	}
	r := must(t, rows, b, nil)
	s := r.S()
	near(t, "y1", r.Coef[0], -0.17120379013135, 1e-11)
	near(t, "y2", r.Coef[1], 0.00218269773988728, 1e-10)
	near(t, "u(y1)", r.U(0, s), 0.00287759783515996, 1e-10)
	near(t, "u(y2)", r.U(1, s), 0.000667938773227833, 1e-10)
	near(t, "s", s, 0.00349756396350529, 1e-10)
	near(t, "r(y1,y2)", r.Unscaled.At(0, 1)/math.Sqrt(r.Unscaled.At(0, 0)*r.Unscaled.At(1, 1)), -0.930429603093446, 1e-10)
	at30 := []float64{1, 10}
	near(t, "b(30)", r.Predict(at30), -0.149376812732477, 1e-10)
	near(t, "u(b(30))", s*math.Sqrt(r.Variance(at30)), 0.00413859575285495, 1e-10)
	near(t, "degrees of freedom", r.DoF, 9, 0)
}

// The worked example of ISO 230-2's quantities with its raw data: a linear
// axis report (anderssandstrom/ecmc_target_muts_logger,
// muts/data/week42_22/xyz/target_x_report_8A.md; read), values recomputed. The
// report's own E, 0.02806, is wrong by its own formula.
func TestReversalExample(t *testing.T) {
	targets := []float64{-4, -2, 0, 2, 4}
	up := [][]float64{
		{-3.99861, -3.98366, -3.98366, -3.95012, -3.95335}, {-2.00655, -1.98836, -1.98109, -1.9419, -1.93341},
		{-0.02782, -0.00802, -0.01005, 0.01986, 0.0344}, {1.97474, 1.99616, 2.00181, 2.03495, 2.04909},
		{4.00316, 4.00397, 4.00963, 4.03024, 4.05165}}
	down := [][]float64{
		{-4.10205, -4.01598, -3.99861, -3.99254, -3.96143}, {-2.11969, -2.02392, -2.00251, -1.99968, -1.9617},
		{-0.13005, -0.02904, -0.01489, -0.01126, 0.01622}, {1.94767, 1.97191, 1.98848, 2.00949, 2.02323},
		{3.94983, 3.98054, 3.98538, 4.01731, 4.03024}}
	a := fit.ReversalAxis(targets, up, down)
	for i, want := range []struct{ b, su, sd, r float64 }{
		{0.040242, 0.02114763, 0.05295667, 0.21182669}, {0.051238, 0.03132122, 0.05928724, 0.23714894},
		{0.035478, 0.02501521, 0.0562458, 0.2249832}, {0.023194, 0.03017991, 0.02995196, 0.14345773},
		{0.02707, 0.02094218, 0.03183622, 0.1326268}} {
		near(t, "B", a.Targets[i].B, want.b, 1e-6)
		near(t, "s up", a.Targets[i].SUp, want.su, 1e-6)
		near(t, "s down", a.Targets[i].SDown, want.sd, 1e-6)
		near(t, "R", a.Targets[i].R, want.r, 1e-6)
	}
	near(t, "B", a.B, 0.051238, 1e-6)
	near(t, "mean B", a.MeanB, 0.0354444, 1e-6)
	near(t, "R up", a.RUp, 0.12528488, 1e-6)
	near(t, "R", a.R, 0.23714894, 1e-6)
	near(t, "M", a.M, 0.02226, 1e-4)
	near(t, "E", a.E, 0.063542, 1e-5)
	near(t, "A", a.A, 0.24337007, 1e-6)
}

// Two-way analysis of variance with interaction: adhesion of primers (McMaster
// Stats 2MA3 notes 2002-03-28, read).
func TestPrimers(t *testing.T) {
	cells := [][][]float64{
		{{4.0, 4.5, 4.3}, {5.6, 4.9, 5.4}, {3.8, 3.7, 4.0}},
		{{5.4, 4.9, 5.6}, {5.8, 6.1, 6.3}, {5.5, 5.0, 5.0}},
	}
	method, primer, both, rest := fit.TwoWay(cells)
	near(t, "F primer", primer.F, 27.8581, 1e-5)
	near(t, "F method", method.F, 59.7027, 1e-5)
	near(t, "F interaction", both.F, 1.4662, 1e-4)
	near(t, "residual SS", rest.SS, 0.986667, 1e-5)
	near(t, "residual df", rest.DoF, 12, 0)
}

// NIST StRD analysis of variance: SiRstv and AtmWtAg (data from SciPy's test
// files), and the made-up SmLs sets, which follow a pattern (read).
func TestOneWay(t *testing.T) {
	sirstv := [][]float64{
		{196.3052, 196.1240, 196.1890, 196.2569, 196.3403}, {196.3042, 196.3825, 196.1669, 196.3257, 196.0422},
		{196.1303, 196.2005, 196.2889, 196.0343, 196.1811}, {196.2795, 196.1748, 196.1494, 196.1485, 195.9885},
		{196.2119, 196.1051, 196.1850, 196.0052, 196.2090}}
	b, _ := fit.OneWay(sirstv)
	near(t, "SiRstv F", b.F, 1.18046237440255, 1e-10)
	b, _ = fit.OneWay([][]float64{
		{107.8681568, 107.8681465, 107.8681572, 107.8681785, 107.8681446, 107.8681903, 107.8681526, 107.8681494, 107.8681616, 107.8681587, 107.8681519, 107.8681486, 107.8681419, 107.8681569, 107.8681508, 107.8681672, 107.8681385, 107.8681518, 107.8681662, 107.8681424, 107.8681360, 107.8681333, 107.8681610, 107.8681477},
		{107.8681079, 107.8681344, 107.8681513, 107.8681197, 107.8681604, 107.8681385, 107.8681642, 107.8681365, 107.8681151, 107.8681082, 107.8681517, 107.8681448, 107.8681198, 107.8681482, 107.8681334, 107.8681609, 107.8681101, 107.8681512, 107.8681469, 107.8681360, 107.8681254, 107.8681261, 107.8681450, 107.8681368}})
	near(t, "AtmWtAg F", b.F, 15.9467335677930, 1e-7)
	for _, c := range []struct {
		name   string
		offset float64
		n      int
		f, tol float64
	}{{"SmLs01", 1, 21, 21, 1e-12}, {"SmLs07", 1e12, 21, 21, 1e-3}, {"SmLs09", 1e12, 2001, 2001, 1e-3}} {
		var groups [][]float64
		for g := range 9 {
			middle := 0.4
			if g > 0 {
				middle = []float64{0.5, 0.3}[g%2]
			}
			group := []float64{c.offset + middle}
			for i := 1; i < c.n; i++ {
				d := -0.1
				if i%2 == 0 {
					d = 0.1
				}
				group = append(group, c.offset+math.Round(10*(middle+d))/10)
			}
			groups = append(groups, group)
		}
		b, _ := fit.OneWay(groups)
		// At an offset of 1e12 the data themselves are rounded to 1.2e-4.
		near(t, c.name, b.F, c.f, c.tol)
	}
}

// Sen 1968, in SciPy's tests (read).
func TestTheilSen(t *testing.T) {
	slope, lo, hi, ok := fit.TheilSen([]float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}, 0.93)
	if !ok {
		t.Fatal("no slope")
	}
	near(t, "slope", slope, 4, 1e-12)
	near(t, "lower", lo, 3.71, 2e-3)
	near(t, "upper", hi, 4.38, 2e-3)
}

// R's medpolish example (Tukey's), computed with R.
func TestMedianPolish(t *testing.T) {
	overall, rows, columns, rest := fit.MedianPolish([][]float64{{14, 15, 14}, {7, 4, 7}, {8, 2, 10}, {15, 9, 10}, {0, 2, 0}})
	near(t, "overall", overall, 8, 0)
	for i, want := range []float64{6, -1, 0, 2, -8} {
		if rows[i] != want {
			t.Errorf("rows %v", rows)
			break
		}
	}
	for j, want := range []float64{0, -1, 0} {
		if columns[j] != want {
			t.Errorf("columns %v", columns)
			break
		}
	}
	sum := 0.0
	for _, r := range rest {
		for _, v := range r {
			sum += math.Abs(v)
		}
	}
	near(t, "sum of absolute residuals", sum, 19, 0)
}

// Huber's fit of the stack loss data (data from memory; coefficients of R's
// rlm and statsmodels, computed).
func TestHuberStackloss(t *testing.T) {
	air := []float64{80, 80, 75, 62, 62, 62, 62, 62, 58, 58, 58, 58, 58, 58, 50, 50, 50, 50, 50, 56, 70}
	water := []float64{27, 27, 25, 24, 22, 23, 24, 24, 23, 18, 18, 17, 18, 19, 18, 18, 19, 19, 20, 20, 20}
	acid := []float64{89, 88, 90, 87, 87, 87, 93, 93, 87, 80, 89, 88, 82, 93, 89, 86, 72, 79, 80, 82, 91}
	loss := []float64{42, 37, 37, 28, 18, 18, 19, 20, 15, 14, 14, 13, 11, 12, 8, 7, 8, 8, 9, 15, 15}
	var rows [][]float64
	for i := range air {
		rows = append(rows, []float64{1, air[i], water[i], acid[i]})
	}
	r, w, err := fit.Huber(rows, loss)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{-41.0265, 0.82938, 0.92608, -0.12785} {
		near(t, "coefficient", r.Coef[i], want, 1e-4)
	}
	if w[20] >= w[0] || w[20] > 0.5 {
		t.Errorf("the last observation, a known outlier, has weight %.2f", w[20])
	}
}

// Floating-mean Lomb-Scargle against SciPy and Astropy (computed; design/4).
func TestLombScargle(t *testing.T) {
	x := []float64{0, 7, 13, 22, 31, 37, 46, 58, 63, 71, 84, 90, 99, 107, 118, 123, 131, 144, 152, 160, 171, 177, 188, 200}
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = 0.010*math.Sin(2*math.Pi*v/75.4+0.7) + 0.002*math.Cos(2*math.Pi*v/40)
	}
	for _, c := range []struct{ period, floating, centred float64 }{
		{75.4, 0.9613792378854814, 0.9555136900259125},
		{60, 0.10826663093313565, 0.1076414974317699},
		{40, 0.0425588357515885, 0.0423974697444414},
		{100, 0.14936782099125032, 0.1493439240953174},
	} {
		near(t, "floating", fit.LombScargle(x, y, c.period, true), c.floating, 1e-10)
		near(t, "centred", fit.LombScargle(x, y, c.period, false), c.centred, 1e-10)
	}
}

// Check standard MPC62 (NIST e-Handbook; 25 occasions of 6): level-1 and
// level-2 standard deviations, recomputed from read data.
func TestCheckStandard(t *testing.T) {
	y := []float64{97.070, 97.049, 97.048, 97.084, 97.106, 97.014, 97.047, 97.078, 97.065, 97.061, 97.060, 97.102, 97.096, 97.035, 97.114, 97.069, 97.095, 97.088, 97.079, 97.016, 97.051, 97.070, 97.065, 97.111, 97.073}
	s := []float64{.085, .052, .038, .036, .049, .036, .052, .117, .085, .052, .060, .048, .026, .088, .031, .037, .032, .056, .067, .116, .046, .078, .040, .038, .039}
	m, between := fit.MeanSD(y)
	near(t, "mean", m, 97.06984, 1e-8)
	near(t, "between occasions", between, 0.0267981343, 1e-7)
	ss := 0.0
	for _, v := range s {
		ss += v * v
	}
	near(t, "within occasions", math.Sqrt(ss/25), 0.0613879467, 1e-7)
}

// NIST StRD NumAcc4: 1001 values around 10000000.2 (definition, from memory).
func TestNumAcc4(t *testing.T) {
	x := []float64{10000000.2}
	for i := range 1000 {
		x = append(x, []float64{10000000.1, 10000000.3}[i%2])
	}
	m, sd := fit.MeanSD(x)
	near(t, "mean", m, 10000000.2, 1e-15)
	near(t, "sd", sd, 0.1, 1e-7)
	near(t, "lag 1", fit.Lag1(x), -0.999, 1e-7)
}

// Five points (eng-tips qid 393584, read): least-squares plane peak to valley.
func TestFivePointPlane(t *testing.T) {
	p := [][3]float64{{11.5, 7, 1.1}, {18.5, 6.9, 1.03}, {4.5, 13, 1.02}, {25.5, 30, 1.03}, {11.5, 37.5, 1.02}}
	var rows [][]float64
	var z []float64
	for _, q := range p {
		rows, z = append(rows, []float64{1, q[0], q[1]}), append(z, q[2])
	}
	r := must(t, rows, z, nil)
	lo, hi := 0.0, 0.0
	for _, e := range r.Residuals {
		lo, hi = math.Min(lo, e), math.Max(hi, e)
	}
	near(t, "peak to valley", hi-lo, 0.0720973, 1e-6)
}

// A doubled column is told by rank and condition, not by huge coefficients
// (design/7, trap 19); what is not finite is refused.
func TestLeastRefuses(t *testing.T) {
	r := must(t, [][]float64{{1, 1, 2}, {1, 2, 4}, {1, 3, 6}, {1, 4, 8}}, []float64{1, 2, 3, 4}, nil)
	if r.Rank != 2 || !math.IsInf(r.Condition, 1) {
		t.Errorf("rank %d, condition %g of a doubled column", r.Rank, r.Condition)
	}
	for _, b := range r.Coef {
		if math.Abs(b) > 10 {
			t.Errorf("coefficients %v", r.Coef)
		}
	}
	if _, err := fit.Least([][]float64{{1}, {math.NaN()}}, []float64{1, 2}, nil); err == nil {
		t.Error("NaN was taken")
	}
	if _, err := fit.Least([][]float64{{1, 2}}, []float64{1}, nil); err == nil {
		t.Error("one row for two terms was taken")
	}
}
