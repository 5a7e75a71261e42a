package printfile_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"abbed/gcode/printfile"
)

const placed = "G28\nM83\nG1 X10 Y10 Z0.2 F3000 ; 0\n"

// TestHardFiles: files that are written as few slicers do, all of them sense by
// RS-274/NGC or by common practice. Each move, known by its comment, ends and runs
// as the reader that was written from the standard says.
func TestHardFiles(t *testing.T) {
	cases := map[string]struct {
		text string
		cut  bool // some move has to be cut
	}{
		"long arc by R":        {placed + "G3 X60 Y10 R-30 E4 ; 1\nG2 X10 Y10 R-30 E4 ; 2\nG2 X60 Y10 R30 ; 3\n", true},
		"half circle by R":     {placed + "G2 X110 Y10 R50 E3 ; 1\n", true},
		"helix":                {placed + "G2 X10 Y10 Z1.4 I40 J40 E20 ; 1\n", true},
		"arc, end by one word": {placed + "G3 X70 I30 E2 ; 1\nG2 Y70 J30 E2 ; 2\n", true},
		"middles from starts":  {"G91.1\n" + placed + "G2 X110 Y10 I50 ; 1\n", true},
		"reset of all axes":    {placed + "G92 X0 Y0 Z5 E3\nG1 X150 Y160 Z5.3 E9 ; 1\nG92 X200\nG1 X100 E1 ; 2\n", true},
		"reset of Z alone":     {placed + "G92 Z0\nG1 X150 E1 ; 1\nG92 Z0.2\nG1 X10 Z0.4 E1 ; 2\n", true},
		"reset while relative": {placed + "G91\nG92 X50\nM83\nG1 X150 E4 ; 1\nG90\nM83\nG1 X60 E1 ; 2\n", true},
		"inches":               {"G20\nG28\nM83\nG1 X.4 Y.4 Z.008 F120 ; 0\nG1 X7 Y7 E.2 ; 1\nG3 X5 Y5 R-2.5 E.3 ; 2\nG21\nG1 X10 Y10 Z0.2 E1 ; 3\n", true},
		"tools":                {placed + "G1 X150 E2 ; 1\nT1\nG1 X10 E2 ; 2\nT0 ; back\nG92 E0\nM82\nG1 Y150 E5 ; 3\n", true},
		"lower case, tight":    {"g28\nm83\ng1x10y10z.2f3000 ; 0\ng1x190y180e3.5 ; 1\ng02x150y180i-20j0 ; 2\n", true},
		"spread out":           {placed + "G 1 X 1 9 0 Y18 ; 1\n", false}, // blanks within numbers: refused below
		"semicolon in comment": {placed + "G1 X150 (one; two) Y160 E3 ; 1\n(a;b) G1 X10 E1 ; 2\n", true},
		"bracket in comment":   {placed + "G1 X150 E1 ; 1 (open\nG1 X10 E1 ; 2 )\n", true},
		"line numbers":         {placed + "N10 G1 X150 Y160 E3 ; 1\nN00020G1X10E3 ; 2\n", true},
		"CRLF":                 {strings.ReplaceAll(placed+"G1 X150 Y160 E3 ; 1\nG1 X10 ; 2\n", "\n", "\r\n"), true},
		"no final line end":    {placed + "G1 X150 Y160 E3 ; 1", true},
		"zeros in comments":    {placed + "; \x00\x00\nG1 X150 Y160 E3 ; 1\n", true},
		"Z along the move":     {placed + "G1 X150 Y160 Z12 E3 ; 1\nG1 X10 Y10 Z0.2 E3 ; 2\nG1 X190 Z0.4 ; 3\n", true},
		"retractions":          {placed + "G1 E-2 F1800\nG1 X150 E-1 ; 1\nG10\nG0 X20 Y20 ; 2\nG11\nG1 E3\nG1 X150 E2 ; 3\n", true},
		"by volume":            {"M200 D1.75\n" + placed + "G1 X150 Y160 E12.5 ; 1\n", true},
		"far travel":           {placed + "G0 X-900 Y1500 ; 1\nG1 X190 Y10 E1 ; 2\n", true},
		"modal":                {placed + "G1 X150 E1 ; 1\nX20 Y20 E2 ; 2\nG2 X60 Y20 I20 ; 3\nX20 I-20 ; 4\n", true},
		"modes in one line":    {"G17 G21 G40 G49 G80 G90 G94\n" + placed + "G91 G1 X150 ; 1\nG90\nM83\nG1 X10 E1 ; 2\n", true},
		"mode behind a mode":   {placed + "G40 G91\nM83\nG1 X150 E1 ; 1\n", true},
		"speed and a move":     {placed + "S255 G1 X150 E1 ; 1\nF1800 G1 X10 E1 ; 2\n", true},
		"names":                {placed + "START_PRINT X5\nRELAX\nGET_READY\nM_OVE X5\nZHOP 5\nPARK\nG1 X150 E1 ; 1\n", true},
		"a message":            {placed + "M117 G1 X5\nM118 G91 X9 M83\nG1 X150 E1 ; 1\n", true},
		"homed again":          {placed + "G1 X150 E1 ; 1\nG28 X\nG1 X150 Y20 ; 2\nG1 X10 Y20 Z0.4 E1 ; 3\n", true},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			var after strings.Builder
			o := printfile.Defaults()
			sum, err := printfile.Rewrite(&after, strings.NewReader(c.text), bent(t), o)
			if !c.cut {
				if _, ok := errors.AsType[*printfile.LineError](err); !ok {
					t.Fatalf("error %v: cannot be read as it stands, and was taken", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if err := new(worst).compare(c.text, after.String(), faded(bent(t), sum.Full, o.Fade), o.Tolerance); err != nil {
				t.Fatalf("%v\n%s", err, after.String())
			}
			if sum.Cut == 0 {
				t.Fatalf("nothing was cut: %+v", sum)
			}
		})
	}
}

// TestHardRefused: what machines read differently, or what leads out of sight, is
// refused with its line.
func TestHardRefused(t *testing.T) {
	laid := placed + "G1 X150 E1\n" // three lines and one: the next is 5
	for name, c := range map[string]struct {
		text string
		line int64
		says string
	}{
		"returns only":           {"; made\rG28\rG1 X5 Y5 Z0.2\r", 1, "carriage return"},
		"one return":             {laid + "; note\rG1 X9\n", 5, "carriage return"},
		"returns, long comment":  {laid + ";" + strings.Repeat("x", printfile.LongestLine) + "\rG1 X9\n", 5, "carriage return"},
		"zeros before":           {laid + "\x00\x00G1 X9 E1\n", 5, "no text"},
		"zeros within":           {laid + "G1 X9\x00E1\n", 5, "letter is expected"},
		"a mark before":          {"\xef\xbb\xbfG28\n" + laid, 1, "no text"},
		"arc across":             {laid + "G19\nG3 Y20 Z1 J5 K0\n", 6, "plane"},
		"arc lengthways":         {laid + "G18 G3 X20 Z1 I5 K0\n", 5, "plane"},
		"absolute middles":       {laid + "G90.1 G1 X5\n", 5, "another command"},
		"checksum, mode":         {laid + "M82*9\n", 5, "extruder"},
		"number, checksum":       {laid + "N7 M82*19\n", 5, "checksum"},
		"mode behind a command":  {laid + "M104 S200 G91\n", 5, "behind another"},
		"extruder, behind":       {laid + "M104 S200 M82\n", 5, "extruder"},
		"mode behind a tool":     {laid + "T1 G91\n", 5, "behind T"},
		"move behind a tool":     {laid + "N5 T1 G1 X9\n", 5, "behind T"},
		"extruder, behind tool":  {laid + "T1 M82\n", 5, "extruder"},
		"mode behind homing":     {laid + "G29 G91\n", 5, "another command"},
		"a place for a tool":     {laid + "T1 X50\n", 5, "commands nothing"},
		"a kept place":           {laid + "G60 S1\nG1 X9 Y9 Z9\nG61 S1\nG1 X20 E1\n", 8, "line 7"},
		"homed, then relied on":  {laid + "G28 X\nG1 Y50 E1\n", 6, "G28 in line 5"},
		"another file":           {laid + "M98 P7\nG1 Y50 E1\n", 6, "M98 in line 5"},
		"a loop":                 {laid + "O100\n", 5, "several times"},
		"the end of a part":      {laid + "M99\n", 5, "several times"},
		"a mark to repeat from":  {laid + "M808 L5\n", 5, "several times"},
		"home moved":             {laid + "M206 X10\n", 5, "frame"},
		"home made":              {laid + "M428\n", 5, "frame"},
		"single motors":          {laid + "G1 H2 X5\n", 5, "single motors"},
		"far":                    {laid + "G1 X100001\n", 5, "whole"},
		"plastic far outside":    {laid + "G1 X261 E1\n", 5, "outside the nodes"},
		"a half word":            {laid + "X\n", 5, "no number"},
		"exponent of an end":     {laid + "G1 X1E2 E3\n", 5, "twice"},
		"words without blanks":   {laid + "G1X20Y\n", 5, "no number"},
		"a plus alone":           {laid + "G1 X+\n", 5, "cannot be read"},
		"a comma":                {laid + "G1 X20,5\n", 5, "letter is expected"},
		"comment within comment": {laid + "G1 X20 (a (b) c) E1\n", 5, "letter is expected"},
		"polar":                  {"G16\n" + laid, 1, "frame"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := printfile.Rewrite(io.Discard, strings.NewReader(c.text), bent(t), printfile.Defaults())
			le, ok := errors.AsType[*printfile.LineError](err)
			if !ok {
				t.Fatalf("error %v, want one with a line", err)
			}
			if le.Line != c.line || !strings.Contains(le.Error(), c.says) || le.Hint == "" {
				t.Fatalf("%v, want line %d and %q", err, c.line, c.says)
			}
		})
	}
}

// TestTold: what cannot be known is told, not passed in silence.
func TestTold(t *testing.T) {
	text := "G28\nG92 E0\nG1 X10 Y10 Z0.2\nSTART_LINE\nG1 X190 Y10 E5\nG1 X225 E6\nG1 X215 E7\n"
	sum, err := printfile.Rewrite(io.Discard, strings.NewReader(text), bent(t), printfile.Defaults())
	if err != nil {
		t.Fatal(err)
	}
	got := fmt.Sprint(sum.Assumed, sum.Own, sum.FirstOwn, sum.Outside, sum.Farthest)
	if want := "5 1 4 2 25"; got != want {
		t.Errorf("assumed, own, first, outside, farthest: %s, want %s", got, want)
	}
}

// TestSteep: of a move that hardly leads aside and climbs, X and Y are written fine
// enough that Z still follows (found at random: 2.4 um beyond a tolerance of 2).
func TestSteep(t *testing.T) {
	for _, text := range []string{
		"G1 Y10.0633 Z6.2 ; 1\n", "G1 X10.011 Z9.9 ; 1\n", "G91\nM83\nG1 Y0.0633 Z6 E1 ; 1\n", "G20\nG91\nM83\nG1 Y.002493 Z.24 E1 ; 1\n", "G2 X10.02 Y10 Z5 I0.01 ; 1\n",
	} {
		o := printfile.Defaults()
		o.Tolerance, o.Fade, o.Full = 0.002, 0.1, 0.4
		var after strings.Builder
		sum, err := printfile.Rewrite(&after, strings.NewReader(placed+text), bent(t), o)
		if err != nil || sum.Cut != 1 {
			t.Fatalf("%s: %v %+v", text, err, sum)
		}
		if err := new(worst).compare(placed+text, after.String(), faded(bent(t), sum.Full, o.Fade), o.Tolerance); err != nil {
			t.Errorf("%v\n%s", err, after.String())
		}
	}
}
