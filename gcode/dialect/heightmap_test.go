package dialect_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"abbed/gcode/dialect"

	"pgregory.net/rapid"
)

// All tables are made up here; all say the same.
var truth = [][]int64{{12, -57, 130}, {0, 5, -250}}

var tables = [][]string{
	{"0 0.012 -0.057 0.130", "1 0.000 0.005 -0.250"},
	{"map:", "   0 1 2", "0 +0.012 -0.057 +0.130", "1 +0.000 +0.005 -0.250"},
	{"      0       1       2", " 0  +0.012  -0.057  +0.130", " 1  +0.000  +0.005  -0.250"},
	{"[0: 0.012, -0.057, 0.130]", "[1: 0.000, 0.005, -0.250]"},
	{"0\t0.012\t-0.057\t0.130", "1\t0.000\t0.005\t-0.250"},
	{"0 | 0.012 | -0.057 | 0.130 |", "1 | 0.000 | 0.005 | -0.250 |"},
	{"0,0.012,-0.057,0.130", "1,0.000,0.005,-0.250"},
	{"row 0: .012 -.057 .130", "row 1: .000 .005 -.250"},
	{"row 0: .012 -.057 .13", "row 1: 0 .005 -.25"},
	{"echo: 0 0.012 -0.057 0.130", "echo: 1 0.000 0.005 -0.250"},
	{"// 0 0.012 -0.057 0.130", "// 1 0.000 0.005 -0.250"},
	{"0; 0.0120; -0.0570; 0.1300", "1; 0.0000; 0.0050; -0.2500"},
	{"Levelling is on", "0 (0.012 -0.057 0.130)", "1 (0.000 0.005 -0.250)", "end of map"},
	{"j=0 0.012 -0.057 0.130", "j=1 -0.000 0.005 -0.250"},
	{"0: 0.012 -0.057 0.130", " T:20.0 /0.0", "// aside", "1: 0.000 0.005 -0.250"},
	{"0 {0.012} {-0.057} {0.130}", "1 {0.000} {0.005} {-0.250}"},
	{"|0 1 2|", "|0 0.012 -0.057 0.130|", "|1 0.000 0.005 -0.250|"},
	{"0 0.012 -0.057 0.130", "1 0.000 0.005 -0.250", "in finer steps:", "0 1 2 3 4", "0 1.0 1.0 1.0 1.0 1.0"},
	{"Y 0 0.012 -0.057 0.130", "Y 1 0.000 0.005 -0.250"},
	{"2 rows of 3 follow", "0 0.012 -0.057 0.130", "1 0.000 0.005 -0.250"},
	{"heights, mm (3 digits)", "0  0.012  -0.057   0.130 ", "1  0.000   0.005  -0.250 ", ""},
}

func TestMapInManyForms(t *testing.T) {
	d := standard(t)
	for _, lines := range tables {
		rows, ok, err := d.ReadMap(reply(append(slices.Clone(lines), "ok")...))
		if !ok || err != nil || !slices.EqualFunc(rows, truth, slices.Equal[[]int64]) {
			t.Errorf("%q: %v %v %v", lines, rows, ok, err)
		}
	}
}

func TestMapNotBelieved(t *testing.T) {
	d := standard(t)
	for name, lines := range map[string][]string{
		"ragged":            {"0 0.1 0.2 0.3", "1 0.1 0.2"},
		"longer":            {"0 0.1 0.2", "1 0.1 0.2 0.3"},
		"heading disagrees": {"0 1 2 3", "0 0.1 0.2 0.3", "1 0.1 0.2 0.3"},
		"a row is missing":  {"0 0.1 0.2", "2 0.1 0.2"},
		"from the largest":  {"1 0.1 0.2", "0 0.1 0.2"},
		"a row twice":       {"0 0.1 0.2", "0 0.1 0.2", "1 0.1 0.2"},
		"nan":               {"0 0.1 nan", "1 0.1 0.2"},
		"all nan":           {"0 0.1 0.2", "1 nan nan"},
		"dots":              {"0 0.1 0.2", "1 . ."},
		"exponent":          {"0 0.1 1e-3", "1 0.1 0.2"},
		"impossible":        {"0 0.1 0.2", "1 0.1 10.001"},
		"huge":              {"0 0.1 0.2", "1 0.1 123456789012345678901234567890"},
		"one row":           {"0 0.1 0.2"},
		"one column":        {"0 0.1", "1 0.1", "2 0.1"},
		"heading only":      {"0 1 2 3"},
		"interrupted":       {"0 0.1 0.2", "1 0.1 0.2", "some words", "2 0.1 0.2"},
		"damaged":           {"0 0.1 0.2", "1 0.1 0\x02.2", "2 0.1 0.2"},
		"glued":             {"0 0.1 0.2", "1 0.1 0.2j2 0.1 0.2"},
		"glued ok":          {"0 0.1 0.2", "1 0.1 0.2jok"},
		"word in a row":     {"0 0.1 0.2", "1 0.1 high"},
		"a row without end": {"0 0.1 0.2", "1" + strings.Repeat(" 0.1", 10000)},
		"a number likewise": {"0 0.1 0.2", "1 0.1 " + strings.Repeat("1", 4000)},
		"a head likewise":   {"0 0.1 0.2", strings.Repeat("1", 4000) + " 0.1 0.2"},
	} {
		rows, _, err := d.ReadMap(reply(append(lines, "ok")...))
		if !errors.Is(err, dialect.ErrMap) || rows != nil || len(err.Error()) > 200 {
			t.Errorf("%s: %v %v", name, rows, err)
		}
	}
	for _, lines := range [][]string{{}, {"no map here"}, {`echo:what is "M420"?`}, {"12 points", "3 faults"}} {
		if rows, ok, err := d.ReadMap(reply(append(lines, "ok")...)); ok || err != nil {
			t.Errorf("%q: %v %v %v", lines, rows, ok, err)
		}
	}
}

// Any map comes back exactly.
func TestAnyMap(t *testing.T) {
	d := standard(t)
	rapid.Check(t, func(t *rapid.T) {
		cols, rows := rapid.IntRange(2, 9).Draw(t, "cols"), rapid.IntRange(2, 9).Draw(t, "rows")
		form := rapid.SampledFrom([]string{"%d %s", "[%d: %s]", "%2d | %s", "row %d: %s"}).Draw(t, "form")
		gap := rapid.SampledFrom([]string{" ", ", ", "\t"}).Draw(t, "gap")
		var lines []string
		if rapid.Bool().Draw(t, "heading") {
			h := ""
			for i := range cols {
				h += fmt.Sprintf(" %d", i)
			}
			lines = append(lines, h)
		}
		var want [][]int64
		for j := range rows {
			row, cells := make([]int64, cols), make([]string, cols)
			for i := range cols {
				row[i] = rapid.Int64Range(-10000, 10000).Draw(t, "um")
				cells[i] = mm(row[i])
			}
			want = append(want, row)
			lines = append(lines, fmt.Sprintf(form, j, strings.Join(cells, gap)))
		}
		got, ok, err := d.ReadMap(reply(append(lines, "ok")...))
		if !ok || err != nil || !slices.EqualFunc(got, want, slices.Equal[[]int64]) {
			t.Fatalf("%q: %v %v", lines, got, err)
		}
	})
}
