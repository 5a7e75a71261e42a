package printfile_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"abbed/gcode/printfile"
)

// TestSettingsPass: a line whose command is an M word is no move, whatever stands
// before it and whichever motion could go on (RS-274/NGC knows none of these codes; a
// machine that has them takes the letters behind them for theirs). It passes to the
// byte, and E stands where it stood.
func TestSettingsPass(t *testing.T) {
	for _, line := range []string{
		"N5 M205 X8 Y8", "(note) M205 X8 Y8", "F1200 M205 X8 Y8", "N5(a)(b)M205 X8", " N5\tM92 X80 Y80 Z400 E93", "N5 M201 X500 Y500 Z100 E5000",
		"N5 M203 X500 Y500 Z10 E50", "N5 M206 Z0.1", "N5 M600 X10 Y10 Z20 E-5", "N9 M117 X10 Y20", "(note) M117 G1 X10", "N5 M205 E5", "n5m205x8y8",
		"N5 START_PRINT X5", "(note) PARK X5", "N5 M205 X8 Y8*32",
	} {
		before := "G28\nM82\nG92 E0\nG1 X10 Y10 Z0.2 F3000 ; 0\nG1 X150 E1 ; 1\n" + line + "\nG1 X10 E2 ; 2\n"
		var after strings.Builder
		if _, err := printfile.Rewrite(&after, strings.NewReader(before), bent(t), printfile.Defaults()); err != nil {
			t.Errorf("%s: %v", line, err)
			continue
		}
		if !strings.Contains(after.String(), "\n"+line+"\n") {
			t.Errorf("%s became another line:\n%s", line, after.String())
		}
		// In full, so that the height at which it ends does not count here.
		if err := new(worst).compare(before, after.String(), func(p [3]float64) float64 { return bent(t).Add(p[0], p[1]) }, 0.005); err != nil {
			t.Errorf("%s: %v\n%s", line, err, after.String())
		}
	}
}

// TestWholeCircles: an arc that ends where it begins is a whole circle, however the
// head came there and however the place is written.
func TestWholeCircles(t *testing.T) {
	texts := []string{
		"G20\nG1 X.4 Y.4 ; 1\nG91\nM83\nG1 X.1 Y.1 ; 2\nG1 X.2 Y.2 ; 3\nG90\nM83\nG3 X.7 Y.7 I2 E1 ; 4\nG2 X.70 Y0.7 J2 ; 5\n",
		"G92 X0.1\nG91\nM83\nG1 X0.2 ; 1\nG90\nM83\nG2 X0.3 Y10 I40 E9 ; 2\nG2 I40 E9 ; 3\nG2 X0.30 I40 E9 ; 4\nG3 Y10 J40 ; 5\n",
		"G91\nM83\nG2 X0 Y0 I40 E9 ; 1\nG2 X0 J40 Z0.05 E9 ; 2\n",
	}
	// Sums that have no last digit in binary: 10 + n times step is written as a decimal.
	for n := range 40 {
		step := 7 + 13*n // 0.001 mm
		x := fmt.Sprintf("%d.%03d", 10+3*step/1000, 3*step%1000)
		text := "G91\nM83\n"
		for i := range 3 {
			text += fmt.Sprintf("G1 X%d.%03[2]d Y%[1]d.%03[2]d ; %[3]d\n", step/1000, step%1000, i+1)
		}
		texts = append(texts, text+fmt.Sprintf("G90\nM83\nG%d X%s Y%s I%d J%d E9 ; 4\n", 2+n%2, x, x, 20+n%3, (n%5)*7))
	}
	for _, text := range texts {
		before := "G28\nM83\nG1 X10 Y10 Z0.2 F3000 ; 0\n" + text
		var after strings.Builder
		sum, err := printfile.Rewrite(&after, strings.NewReader(before), bent(t), printfile.Defaults())
		if err != nil || sum.Cut == 0 {
			t.Errorf("%v %+v\n%s", err, sum, text)
			continue
		}
		if err := new(worst).compare(before, after.String(), func(p [3]float64) float64 { return bent(t).Add(p[0], p[1]) }, 0.005); err != nil {
			t.Errorf("%v\n%s", err, after.String())
		}
	}
}

// TestFollowed: what is said once and plainly is followed, wherever it stands on its
// line.
func TestFollowed(t *testing.T) {
	for name, text := range map[string]string{
		"extruder, number":   "N10 M82\nG92 E5\nN11 M83\nG1 X150 E1 ; 1\nG1 X10 E1 ; 2\n",
		"extruder, note":     "(now) M83\nG1 X150 E1 ; 1\n",
		"extruder, checksum": "N7 M83*31\nG1 X150 E1 ; 1\n",
		"the unit first":     "G92 X1 G20\nG1 X6 E.5 ; 1\nG21\nG1 X20 E1 ; 2\n",
		"behind its move":    "G1 X150 E1 G91 ; 1\nM83\nG1 X-100 E1 ; 2\n",
		"coolant":            "G1 X150 E1 M8 ; 1\n",
		"lines of checksums": "N1 G4 P5*105\nN2 M104 S200*101\nG1 X150 E1 ; 1\n",
	} {
		before := "G28\nM83\nG1 X10 Y10 Z0.2 F3000 ; 0\n" + text
		var after strings.Builder
		sum, err := printfile.Rewrite(&after, strings.NewReader(before), bent(t), printfile.Defaults())
		if err != nil || sum.Cut == 0 {
			t.Errorf("%s: %v %+v", name, err, sum)
			continue
		}
		if err := new(worst).compare(before, after.String(), func(p [3]float64) float64 { return bent(t).Add(p[0], p[1]) }, 0.005); err != nil {
			t.Errorf("%s: %v\n%s", name, err, after.String())
		}
	}
}

// TestAmbiguous: what machines do differently is refused with its line, and so is what
// the standard forbids.
func TestAmbiguous(t *testing.T) {
	for name, c := range map[string]struct{ text, says string }{
		"an arc goes on":           {"G2 X50 I20 E3\nI20 J0 E3\n", "an arc goes on"},
		"an arc goes on, higher":   {"G2 X50 I20 E3\nZ0.4 I20 J0 E3\n", "an arc goes on"},
		"half an arc":              {"G1 X50 E3\nI20 J0 E3\n", "an arc goes on"},
		"ends a hair apart":        {"G1 X50 E3\nG2 X50.00001 Y10 I20 E3\n", "whole circle"},
		"a frame, numbered":        {"G1 X50 E3\nN5 M206 X10\n", "frame"},
		"a frame, behind a mode":   {"G1 X50 E3\nG90 M206 X10\n", "frame"},
		"another file, numbered":   {"N5 M98 P7\nG1 Y50 E1\n", "not been said"},
		"an end, numbered":         {"G1 X50 E3\nN5 M99\n", "several times"},
		"a part, numbered":         {"G1 X50 E3\nN5 O100\n", "several times"},
		"two distances":            {"G1 X50 E3\nG90 G91\n", "modal group"},
		"two planes":               {"G1 X50 E3\nG17 G18\n", "modal group"},
		"two units":                {"G1 X50 E3\nG20 G21\n", "modal group"},
		"no motion any more":       {"G80\nX50 E3\n", "without a command"},
		"a straight probe":         {"G38.2 Z0\nG92 Z0.2\nX50 Y10 Z0.2\n", "without a command"},
		"a tool, and a distance":   {"G1 X50 E3\nT1 G91\n", "behind T"},
		"a spindle in place":       {"G1 X50 E3\nM3 X10\n", "no G says"},
		"a place, then a setting":  {"G1 X50 E3\nX10 M205\n", "no G says"},
		"a move and a setting":     {"G1 X50 E3\nG1 X10 M205 Y8\n", "M205"},
		"a setting and a move":     {"G1 X50 E3\nN5 M205 X8 G1 Y8\n", "behind another command"},
		"left out, numbered":       {"G1 X50 E3\nN5 /G1 X9\n", "left out"},
		"blanks, then a move":      {"G1 X50 E3\n" + strings.Repeat(" ", printfile.LongestLine) + "G1 X9 E1\n", "longer"},
		"zeros, then a move":       {"G1 X50 E3\n" + strings.Repeat("\x00", printfile.LongestLine) + "G1 X9 E1\n", "longer"},
		"a return where it breaks": {"G1 X50 E3\n;" + strings.Repeat("x", printfile.LongestLine-2) + "\rG1 X9\n", "carriage return"},
		"a wrong checksum":         {"G1 X50 E3\nN5 G1 X9*1\n", "checksum"},
		"a checksum and a change":  {"G1 X50 E3\nN5 G1 X9*108\n", "checksum"},
		"a variable":               {"G1 X50 E3\nX5 Y#2\n", "letter is expected"},
		"E beyond reason":          {"G1 X50 E3\nG1 E1234567890123\n", "E leads"},
	} {
		text := "G28\nM83\nG1 X10 Y10 Z0.2 F3000\n" + c.text
		_, err := printfile.Rewrite(io.Discard, strings.NewReader(text), bent(t), printfile.Defaults())
		le, ok := errors.AsType[*printfile.LineError](err)
		if !ok || le.Line != int64(strings.Count(text, "\n")) && name != "a straight probe" || !strings.Contains(le.Cause, c.says) || le.Hint == "" {
			t.Errorf("%s: %v, want the last line and %q", name, err, c.says)
		}
	}
}
