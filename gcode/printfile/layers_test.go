package printfile_test

import (
	"bytes"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"

	"abbed/gcode/printfile"
)

// TestFirstLayers: the correction holds in full up to the second layer of the file, as
// its own words say where that is, and ends at the rate that was asked for: 0.3 mm at
// 0.02 mm per mm end 15 mm above.
func TestFirstLayers(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		full float64
	}{
		"plain":                  {"G1 X50 E1\nG1 Z0.4\nG1 X10 E1\nG1 Z0.6\nG1 X50 E1\n", 0.4},
		"a thick first layer":    {"G1 Z0.3\nG1 X50 E1\nG1 Z0.45\nG1 X10 E1\nG1 Z0.6\nG1 X50 E1\n", 0.45},
		"hops between":           {"G1 X50 E1\nG1 Z5\nG1 X20\nG1 Z0.2\nG1 X10 E1\nG1 Z0.4\nG1 X50 E1\nG1 Z0.6\nG1 X10 E1\n", 0.4},
		"primed higher":          {"G1 Z0.28\nG1 X50 E1\nG1 Z0.2\nG1 X10 E1\nG1 Z0.4\nG1 X50 E1\nG1 Z0.6\nG1 X10 E1\n", 0.4},
		"primed far above":       {"G1 Z20\nG1 X50 E1\nG1 Z0.2\nG1 X10 E1\nG1 Z0.4\nG1 X50 E1\nG1 Z0.6\nG1 X10 E1\n", 0.4},
		"one after the other":    {"G1 X50 E1\nG1 Z0.4\nG1 X10 E1\nG1 Z0.6\nG1 X50 E1\nG1 Z0.1\nG1 X90 E1\n", 0.4},
		"one layer":              {"G1 X50 E1\nG1 Z30\nG1 X10\n", 0.4},
		"two layers":             {"G1 X50 E1\nG1 Z0.35\nG1 X10 E1\n", 0.35},
		"nothing laid":           {"G1 X50\nG1 Z3\nG1 X10\nG1 E5\n", 0},
		"drawn back and forth":   {"G1 X50 E1\nG1 Z3 E-1\nG1 X10\nG1 Z0.4\nG1 E1\nG1 X50 E1\nG1 Z0.6\nG1 X10 E1\n", 0.4},
		"relative":               {"G91\nM83\nG1 X50 E1\nG1 Z0.2\nG1 X10 E1\nG1 Z0.2\nG1 X-50 E1\n", 0.4},
		"inches":                 {"G20\nG1 Z.01\nG1 X5 E1\nG1 Z.02\nG1 X1 E1\nG1 Z.03\nG1 X5 E1\n", 0.508},
		"another zero":           {"G92 Z0\nG1 X50 E1\nG1 Z0.2\nG1 X10 E1\nG1 Z0.4\nG1 X50 E1\n", 0.4},
		"arcs":                   {"G2 I5 E1\nG1 Z0.4\nG3 J5 E1\nG1 Z0.6\nG3 J5 E1\n", 0.4},
		"absolute E":             {"M82\nG92 E0\nG1 X50 E1\nG1 Z0.4\nG1 X10 E2\nG1 Z5\nG1 X50 E2\nG1 Z0.6\nG1 X10 E3\n", 0.4},
		"a spiral from the bed":  {"G1 X50 Z0.201 E1\nG1 Y50 Z0.202 E1\nG1 X10 Z0.203 E1\nG1 Y10 Z0.204 E1\n", 0.202},
		"settings are no layers": {"G1 X50 E1\nN5 M205 X8 Z0.3 E9\nG1 Z0.4\nG1 X10 E1\nG1 Z0.6\nG1 X50 E1\n", 0.4},
		"below the bed":          {"G1 Z-0.3\nG1 X50 E1\nG1 Z-0.1\nG1 X10 E1\nG1 Z0.1\nG1 X50 E1\n", 0},
		"a damaged line behind":  {"G1 X50 E1\nG1 Z0.4\nG1 X10 E1\nG1 Z0.6\nG1 X50 E1\nG1 X#\n", 0.4},
	} {
		var out bytes.Buffer
		sum, err := printfile.Rewrite(&out, strings.NewReader(placed+c.text), bent(t), printfile.Defaults())
		if (err != nil) != strings.Contains(name, "damaged") {
			t.Errorf("%s: %v", name, err)
		}
		if math.Abs(sum.Full-c.full) > 1e-9 || math.Abs(sum.End-c.full-15) > 1e-9 {
			t.Errorf("%s: in full up to %g, none from %g, want %g and 15 mm above", name, sum.Full, sum.End, c.full)
		}
	}
}

// TestReadAhead: what is read ahead is bounded, and no byte is lost.
func TestReadAhead(t *testing.T) {
	line := []byte("G1 X20 Y30 F1800\nG1 X40 Y40 E1\n")
	const times = 700_000 // 22 MB of one layer
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	g, err := printfile.NewGrid(0, 0, 200, 200, [][]float64{{0, 0}, {0, 0}}) // so that no byte changes
	if err != nil {
		t.Fatal(err)
	}
	var out counter
	sum, err := printfile.Rewrite(&out, io.MultiReader(strings.NewReader(placed), &endless{n: times, line: line}), g, printfile.Defaults())
	runtime.ReadMemStats(&after)
	if err != nil || sum.Full != 0.4 || sum.Lines != 2*times+3 {
		t.Fatalf("%v %+v", err, sum)
	}
	if want := int64(len(placed) + times*len(line)); out.n-int64(len(out.first)) != want {
		t.Errorf("%d bytes, want %d", out.n-int64(len(out.first)), want)
	}
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 80<<20 {
		t.Errorf("%d MB were allocated", grown>>20)
	}
}

// counter counts what is written, and keeps the first line.
type counter struct {
	n     int64
	first []byte
}

func (c *counter) Write(b []byte) (int, error) {
	if c.first == nil {
		c.first = append(c.first, b[:bytes.IndexByte(b, '\n')+1]...)
	}
	c.n += int64(len(b))
	return len(b), nil
}
