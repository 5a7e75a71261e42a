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
	lack := func(r fit.Result) float64 { return (r.RSS - pure) / (r.DoF - dof) / (pure / dof) }
	near(t, "F of the line", lack(line), 214.7469, 1e-5)
	near(t, "its df", line.DoF-dof, 18, 0)
	near(t, "pure error df", dof, 20, 0)
	curve := must(t, powers(x, 2), y, nil)
	near(t, "F of the quadratic", lack(curve), 0.81072, 1e-4)
	near(t, "its p", fit.FTail(lack(curve), curve.DoF-dof, dof), 0.66617, 1e-4)
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
	up := [][]float64{
		{-3.99861, -3.98366, -3.98366, -3.95012, -3.95335}, {-2.00655, -1.98836, -1.98109, -1.9419, -1.93341},
		{-0.02782, -0.00802, -0.01005, 0.01986, 0.0344}, {1.97474, 1.99616, 2.00181, 2.03495, 2.04909},
		{4.00316, 4.00397, 4.00963, 4.03024, 4.05165}}
	down := [][]float64{
		{-4.10205, -4.01598, -3.99861, -3.99254, -3.96143}, {-2.11969, -2.02392, -2.00251, -1.99968, -1.9617},
		{-0.13005, -0.02904, -0.01489, -0.01126, 0.01622}, {1.94767, 1.97191, 1.98848, 2.00949, 2.02323},
		{3.94983, 3.98054, 3.98538, 4.01731, 4.03024}}
	for i, want := range []struct{ b, su, sd, r float64 }{
		{0.040242, 0.02114763, 0.05295667, 0.21182669}, {0.051238, 0.03132122, 0.05928724, 0.23714894},
		{0.035478, 0.02501521, 0.0562458, 0.2249832}, {0.023194, 0.03017991, 0.02995196, 0.14345773},
		{0.02707, 0.02094218, 0.03183622, 0.1326268}} {
		at := fit.Reversal(up[i], down[i])
		near(t, "B", at.B, want.b, 1e-6)
		near(t, "s up", at.SUp, want.su, 1e-6)
		near(t, "s down", at.SDown, want.sd, 1e-6)
		near(t, "R", at.R, want.r, 1e-6)
	}
}

// Sen 1968, in SciPy's tests (read).
func TestTheilSen(t *testing.T) {
	slope, ok := fit.TheilSen([]float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78})
	if !ok {
		t.Fatal("no slope")
	}
	near(t, "slope", slope, 4, 1e-12)
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
