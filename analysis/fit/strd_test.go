package fit_test

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"abbed/analysis/fit"
)

// univariate are sets of NIST StRD (summary statistics): data from memory, which
// the certified values (read) check to all their digits.
func TestUnivariate(t *testing.T) {
	mavro := []float64{2.00180, 2.00170, 2.00180, 2.00190, 2.00180, 2.00170, 2.00150, 2.00140, 2.00150, 2.00150, 2.00170, 2.00180, 2.00180, 2.00190, 2.00190, 2.00210, 2.00200, 2.00160, 2.00140, 2.00130, 2.00130, 2.00150, 2.00150, 2.00160, 2.00150, 2.00140, 2.00130, 2.00140, 2.00150, 2.00140, 2.00150, 2.00160, 2.00150, 2.00160, 2.00190, 2.00200, 2.00200, 2.00210, 2.00220, 2.00230, 2.00240, 2.00250, 2.00270, 2.00260, 2.00260, 2.00260, 2.00270, 2.00260, 2.00250, 2.00240}
	var michelso []float64
	for _, k := range []float64{850, 740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000, 1000, 960, 960,
		960, 940, 960, 940, 880, 800, 850, 880, 900, 840, 830, 790, 810, 880, 880, 830, 800, 790, 760, 800,
		880, 880, 880, 860, 720, 720, 620, 860, 970, 950, 880, 910, 850, 870, 840, 840, 850, 840, 840, 840,
		890, 810, 810, 820, 800, 770, 760, 740, 750, 760, 910, 920, 890, 860, 880, 720, 840, 850, 850, 780,
		890, 840, 780, 810, 760, 810, 790, 810, 820, 850, 870, 870, 810, 740, 810, 940, 950, 800, 810, 870} {
		michelso = append(michelso, (299000+k)/1000)
	}
	lew := []float64{-213, -564, -35, -15, 141, 115, -420, -360, 203, -338, -431, 194, -220, -513, 154, -125, -559, 92, -21, -579, -52, 99, -543, -175, 162, -457, -346, 204, -300, -474, 164, -107, -572, -8, 83, -541, -224, 180, -420, -374, 201, -236, -531, 83, 27, -564, -112, 131, -507, -254, 199, -311, -495, 143, -46, -579, -90, 136, -472, -338, 202, -287, -477, 169, -124, -568, 17, 48, -568, -135, 162, -430, -422, 172, -74, -577, -13, 92, -534, -243, 194, -355, -465, 156, -81, -578, -64, 139, -449, -384, 193, -198, -538, 110, -44, -577, -6, 66, -552, -164, 161, -460, -344, 205, -281, -504, 134, -28, -576, -118, 156, -437, -381, 200, -220, -540, 83, 11, -568, -160, 172, -414, -408, 188, -125, -572, -32, 139, -492, -321, 205, -262, -504, 142, -83, -574, 0, 48, -571, -106, 137, -501, -266, 190, -391, -406, 194, -186, -553, 83, -13, -577, -49, 103, -515, -280, 201, 300, -506, 131, -45, -578, -80, 138, -462, -361, 201, -211, -554, 32, 74, -533, -235, 187, -372, -442, 182, -147, -566, 25, 68, -535, -244, 194, -351, -463, 174, -125, -570, 15, 72, -550, -190, 172, -424, -385, 198, -218, -536, 96}
	for _, c := range []struct {
		name          string
		x             []float64
		mean, sd, lag float64
		tol           float64
	}{
		{"Mavro", mavro, 2.001856, 0.000429123454003053, 0.937989183438248, 1e-11},
		{"Michelso", michelso, 299.8524, 0.0790105478190518, 0.535199668621283, 1e-11},
		{"Lew", lew, -177.435, 277.332168044316, -0.307304800605679, 1e-13},
	} {
		mean, sd := fit.MeanSD(c.x)
		near(t, c.name+" mean", mean, c.mean, 1e-14)
		near(t, c.name+" sd", sd, c.sd, c.tol)
		near(t, c.name+" lag 1", fit.Lag1(c.x), c.lag, c.tol)
	}
}

// filip is NIST StRD Filip: a polynomial of the tenth degree on x from -8.78 to
// -3.13, the set that strains every program; data from memory, which the certified
// values (read) check.
var filip = [][2]float64{
	{0.8116, -6.860120914}, {0.9072, -4.324130045}, {0.9052, -4.358625055}, {0.9039, -4.358426747}, {0.8053, -6.955852379}, {0.8377, -6.661145254}, {0.8667, -6.355462942}, {0.8809, -6.118102026}, {0.7975, -7.115148017}, {0.8162, -6.815308569}, {0.8515, -6.519993057}, {0.8766, -6.204119983}, {0.8885, -5.853871964}, {0.8859, -6.109523091}, {0.8959, -5.79832982}, {0.8913, -5.482672118}, {0.8959, -5.171791386}, {0.8971, -4.851705903}, {0.9021, -4.517126416}, {0.909, -4.143573228}, {0.9139, -3.709075441}, {0.9199, -3.499489089}, {0.8692, -6.300769497}, {0.8872, -5.953504836}, {0.89, -5.642065153}, {0.891, -5.031376979}, {0.8977, -4.680685696}, {0.9035, -4.329846955}, {0.9078, -3.928486195}, {0.7675, -8.56735134}, {0.7705, -8.363211311}, {0.7713, -8.107682739}, {0.7736, -7.823908741}, {0.7775, -7.522878745}, {0.7841, -7.218819279}, {0.7971, -6.920818754}, {0.8329, -6.628932138}, {0.8641, -6.323946875}, {0.8804, -5.991399828}, {0.7668, -8.781464495}, {0.7633, -8.663140179}, {0.7678, -8.473531488}, {0.7697, -8.247337057}, {0.77, -7.971428747}, {0.7749, -7.676129393}, {0.7796, -7.352812702}, {0.7897, -7.072065318}, {0.8131, -6.774174009}, {0.8498, -6.478861916}, {0.8741, -6.159517513}, {0.8061, -6.835647144}, {0.846, -6.53165267}, {0.8751, -6.224098421}, {0.8856, -5.910094889}, {0.8919, -5.598599459}, {0.8934, -5.290645224}, {0.894, -4.974284616}, {0.8957, -4.64454848}, {0.9047, -4.290560426}, {0.9129, -3.885055584}, {0.9209, -3.408378962}, {0.9219, -3.13200249}, {0.7739, -8.726767166}, {0.7681, -8.66695597}, {0.7665, -8.511026475}, {0.7703, -8.165388579}, {0.7702, -7.886056648}, {0.7761, -7.588043762}, {0.7809, -7.283412422}, {0.7961, -6.995678626}, {0.8253, -6.691862621}, {0.8602, -6.392544977}, {0.8809, -6.067374056}, {0.8301, -6.684029655}, {0.8664, -6.378719832}, {0.8834, -6.065855188}, {0.8898, -5.752272167}, {0.8964, -5.132414673}, {0.8963, -4.811352704}, {0.9074, -4.098269308}, {0.9119, -3.66174277}, {0.9228, -3.2644011},
}

// Filip: on the powers themselves the condition says that no digit can be trusted
// (5e9 and more, columns scaled); on x scaled to [-1, 1] the residual deviation
// and b0, the value at x = 0, come to the digits that the data bear.
func TestFilip(t *testing.T) {
	var x, y, scaled []float64
	for _, p := range filip {
		y, x = append(y, p[0]), append(x, p[1])
		scaled = append(scaled, (p[1]+5.95)/2.85)
	}
	raw := must(t, powers(x, 10), y, nil)
	if !(raw.Condition > 1e9) {
		t.Errorf("the condition of the powers is said to be %g", raw.Condition)
	}
	r := must(t, powers(scaled, 10), y, nil)
	t.Logf("condition: %.1e of the powers, %.1e scaled", raw.Condition, r.Condition)
	near(t, "Filip s", r.S(), 0.334801051324544e-2, 1e-9)
	near(t, "Filip b0", r.Predict(powers([]float64{5.95 / 2.85}, 10)[0]), -1467.48961422980, 1e-8)
	if r.Rank != 11 || r.DoF != 71 {
		t.Errorf("rank %d, %g degrees of freedom", r.Rank, r.DoF)
	}
}

// Every analysis of variance of NIST StRD, from Debian's python3-scipy: data and
// certified F stand in the files. The sets with thirteen constant leading digits
// keep few digits even in the data: there the F that comes is held to 1 %.
func TestNISTAnova(t *testing.T) {
	const dir = "/usr/lib/python3/dist-packages/scipy/stats/tests/data/nist_anova"
	files, _ := filepath.Glob(filepath.Join(dir, "*.dat"))
	if len(files) < 11 {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s holds %d files: python3-scipy is needed", dir, len(files))
		}
		t.Skip("the NIST files of Debian's python3-scipy are not here")
	}
	for _, name := range files {
		groups, f := nist(t, name)
		b, _ := fit.OneWay(groups)
		tol := 1e-9
		switch base := filepath.Base(name); base {
		case "SmLs04.dat", "SmLs05.dat", "SmLs06.dat":
			tol = 1e-7 // seven constant leading digits
		case "SmLs07.dat", "SmLs08.dat", "SmLs09.dat":
			tol = 1e-2 // thirteen
		case "AtmWtAg.dat":
			tol = 1e-7
		}
		near(t, filepath.Base(name)+" F", b.F, f, tol)
	}
}

// nist reads groups and the certified F.
func nist(t *testing.T, name string) (groups [][]float64, f float64) {
	t.Helper()
	file, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	sc := bufio.NewScanner(file)
	byGroup := map[string]int{}
	for line := 1; sc.Scan(); line++ {
		w := strings.Fields(sc.Text())
		if len(w) == 6 && w[0] == "Between" {
			f = number(t, w[5])
		}
		if line <= 60 || len(w) != 2 {
			continue
		}
		i, there := byGroup[w[0]]
		if !there {
			i = len(groups)
			byGroup[w[0]] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], number(t, w[1]))
	}
	if f == 0 || math.IsNaN(f) || len(groups) < 2 {
		t.Fatalf("%s: %d groups, F %g", name, len(groups), f)
	}
	return groups, f
}
