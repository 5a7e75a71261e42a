package printfile_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"

	"abbed/gcode/printfile"
)

const start = "G28\nG1 X10 Y10 Z0.2\n"

func bent(t testing.TB) *printfile.Grid {
	t.Helper()
	g, err := printfile.NewGrid(0, 0, 200, 200, [][]float64{{-0.2, 0, 0.3}, {-.1, 0, .15}, {0, 0, -.1}})
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// TestRefused: what cannot be followed is refused by the line's number.
func TestRefused(t *testing.T) {
	cases := map[string]struct {
		text string
		line int64
		says string
	}{
		"a second time":        {"; abbed carried a correction: x\n" + start, 1, "before"},
		"a second time, late":  {start + "; abbed carried a correction: x\n", 3, "before"},
		"arc in another plane": {start + "G18\nG2 X20 Y10 I5 J0\n", 4, "plane"},
		"arc without middle":   {start + "G2 X20 Y10\n", 3, "without I, J or R"},
		"arc of two radii":     {start + "G2 X20 Y10 I4 J0\n", 3, "radii"},
		"arc that cannot be":   {start + "G2 X60 Y10 R4\n", 3, "apart"},
		"circle by radius":     {start + "G2 X10 Y10 R4\n", 3, "no middle"},
		"both forms":           {start + "G2 X20 Y10 I5 R5\n", 3, "R and with I"},
		"several turns":        {start + "G2 X20 Y10 I5 P3\n", 3, "turns"},
		"absolute middles":     {start + "G90.1\n", 3, "middles"},
		"another frame":        {start + "G55\n", 3, "frame"},
		"rotated":              {start + "G68 R30\n", 3, "frame"},
		"a curve":              {start + "G5 X1 Y1 I1 J1 P1 Q1\n", 3, "followed"},
		"feed by time":         {start + "G93\n", 3, "F means"},
		"checksum":             {start + "N5 G1 X20*71\n", 3, "checksum"},
		"a letter twice":       {start + "G1 X20 X30\n", 3, "twice"},
		"two moves":            {start + "G1 G0 X20\n", 3, "modal group"},
		"no number":            {start + "G1 X Y20\n", 3, "no number"},
		"expression":           {start + "G1 X[1+2]\n", 3, "letter"},
		"parameter":            {start + "G1 X#5\n", 3, "letter"},
		"comment open":         {start + "G1 X5 (so\n", 3, "does not end"},
		"too many digits":      {start + "G1 X1234567890123456\n", 3, "cannot be read"},
		"a bare reset":         {start + "G92\n", 3, "G92 without"},
		"E never said":         {"M82\n" + start + "G1 X190 Y190 E5\n", 4, "G92 E0"},
		"E after G91":          {"G92 E0\n" + start + "G91\nG1 X180 Y180 E5\n", 5, "M82 or M83"},
		"another axis":         {start + "G1 X190 Y190 A5\n", 3, "what A does"},
		"lost":                 {start + "G29\nG1 X20 E1\n", 4, "line 3"},
		"left out":             {start + "/G1 X20\n", 3, "left out"},
		"endless command":      {start + "G1 X1" + strings.Repeat("0", printfile.LongestLine) + "\n", 3, "longer"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			_, err := printfile.Rewrite(io.Discard, strings.NewReader(c.text), bent(t), printfile.Defaults())
			var le *printfile.LineError
			if !errors.As(err, &le) {
				t.Fatalf("error %v, want one with a line", err)
			}
			if le.Line != c.line || !strings.Contains(le.Cause+" "+le.Hint, c.says) || le.Hint == "" {
				t.Fatalf("%v, want line %d and %q", err, c.line, c.says)
			}
			if strings.Contains(name, "second") != errors.Is(err, printfile.ErrTwice) {
				t.Fatalf("%v: ErrTwice", err)
			}
		})
	}
}

// TestOwnOutputRefused: what was carried once is refused.
func TestOwnOutputRefused(t *testing.T) {
	var once bytes.Buffer
	if _, err := printfile.Rewrite(&once, strings.NewReader(start), bent(t), printfile.Defaults()); err != nil {
		t.Fatal(err)
	}
	if _, err := printfile.Rewrite(io.Discard, &once, bent(t), printfile.Defaults()); !errors.Is(err, printfile.ErrTwice) {
		t.Fatalf("error %v", err)
	}
}

// TestFollow: said which it is, E after G91 is no riddle.
func TestFollow(t *testing.T) {
	text := "G92 E0\n" + start + "G91\nG1 X180 Y180 E5 ; 1\n"
	for f, absolute := range map[printfile.Follow]bool{printfile.Follows: false, printfile.Apart: true} {
		o := printfile.Defaults()
		o.Follow = f
		var out bytes.Buffer
		sum, err := printfile.Rewrite(&out, strings.NewReader(text), bent(t), o)
		if err != nil || sum.Cut != 1 {
			t.Fatalf("%v %+v", err, sum)
		}
		// Absolute: the last piece says 5; relative: what is left of it.
		if strings.Contains(out.String(), " E5 ; 1") != absolute {
			t.Errorf("follow %d:\n%s", f, out.String())
		}
	}
}

// TestUntouched: all that is no move below the correction's end passes to the byte.
func TestUntouched(t *testing.T) {
	text := "%\r\n; G1 X9\r\n\tM117 X1 Y2 G1\r\nT0\r\nG1 F3000\r\ng1 e5 ; prime\r\nG28 X Y\r\nSET_A B=1\r\nEXTRA X=5\r\n" +
		"G1 Z50\r\n( note ) G1 X20.0000 Y+30. E6\r\nG1X5Y5E7\r\n\x00\xff\xfe odd\r\n\r\n   \r\n;" + strings.Repeat("long ", 50000) + "\r\nG1 X100 ; no end"
	var out bytes.Buffer
	o := printfile.Defaults()
	o.Full = 0.4
	sum, err := printfile.Rewrite(&out, strings.NewReader(text), bent(t), o)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, _ := strings.Cut(out.String(), "\r\n")
	if rest != text || !strings.HasPrefix(head, "; abbed carried") {
		t.Fatalf("changed:\n%q", rest)
	}
	if sum.Changed != 0 || sum.Lines != 17 {
		t.Fatalf("%+v", sum)
	}
}

// TestTenKilobyteLines: a command with 10 kB of comment is done and keeps it.
func TestTenKilobyteLines(t *testing.T) {
	comment := " ;" + strings.Repeat("x", 10000)
	text := start + strings.Repeat("G1 X20 Y30"+comment+"\nG1 X15 Y15 (short)"+comment+"\n", 300)
	var out bytes.Buffer
	sum, err := printfile.Rewrite(&out, strings.NewReader(text), bent(t), printfile.Defaults())
	if err != nil || sum.Changed != 601 || strings.Count(out.String(), comment+"\n") != 600 {
		t.Fatalf("%v %+v", err, sum)
	}
}

// endless gives n lines without holding them.
type endless struct {
	n    int
	line []byte
	left []byte
}

func (e *endless) Read(b []byte) (int, error) {
	if len(e.left) == 0 {
		if e.n == 0 {
			return 0, io.EOF
		}
		e.n--
		e.left = e.line
	}
	n := copy(b, e.left)
	e.left = e.left[n:]
	return n, nil
}

// TestMillionLines: memory does not grow with the file.
func TestMillionLines(t *testing.T) {
	lines := []byte("G1 X20 Y30 E0.5 F1800\nG1 X190 Y180 E3\nG1 Z0.4\nG1 Z0.2\n; part\nG1 X40 Y40\n")
	var before, after runtime.MemStats
	in := io.MultiReader(strings.NewReader("M83\n"+start), &endless{n: 1_000_000 / 6, line: lines})
	g := bent(t)
	runtime.ReadMemStats(&before)
	o := printfile.Defaults()
	o.Full = 0.4 // else two layers would be read ahead, and there is one
	sum, err := printfile.Rewrite(io.Discard, in, g, o)
	runtime.ReadMemStats(&after)
	if err != nil || sum.Lines < 999_000 || sum.Cut == 0 {
		t.Fatalf("%v %+v", err, sum)
	}
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 1<<20 {
		t.Fatalf("%d bytes were allocated for a million lines", grown)
	}
}

// TestFaultyEnds: reader and writer that fail are said.
func TestFaultyEnds(t *testing.T) {
	bad := errors.New("the disk is full")
	if _, err := printfile.Rewrite(failing{bad}, &endless{n: 5000, line: []byte(start)}, bent(t), printfile.Defaults()); !errors.Is(err, bad) {
		t.Errorf("write: %v", err)
	}
	if _, err := printfile.Rewrite(io.Discard, failing{bad}, bent(t), printfile.Defaults()); !errors.Is(err, bad) {
		t.Errorf("read: %v", err)
	}
	if _, err := printfile.Rewrite(io.Discard, strings.NewReader(""), bent(t), printfile.Defaults()); err != nil {
		t.Errorf("an empty file: %v", err)
	}
	for _, fade := range []float64{0, -0.02, 1, math.NaN()} {
		o := printfile.Defaults()
		o.Fade = fade
		if _, err := printfile.Rewrite(io.Discard, strings.NewReader(""), bent(t), o); err == nil {
			t.Errorf("a correction that ends by %g mm per mm was taken", fade)
		}
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }
func (f failing) Read([]byte) (int, error)  { return 0, f.err }

// FuzzRewrite: no bytes make it panic or write endlessly, and what was carried
// is refused the second time.
func FuzzRewrite(f *testing.F) {
	for _, s := range []string{start, "G91\nG1 X-.5Y+2E1\n", "G20\nG2 X1 Y1 R-3\n", "N1 G1 X5*3\n", ";\xff\n", "G92 Z5\nG1 X5 Z1", "G28\r\nG1X1Y1Z1\r\nG3I50\r\n"} {
		f.Add([]byte(s))
	}
	g, err := printfile.NewGrid(0, 0, 200, 200, [][]float64{{-0.2, 0.3}, {.1, -.1}})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var out bytes.Buffer
		sum, err := printfile.Rewrite(&out, bytes.NewReader(b), g, printfile.Defaults())
		if err != nil {
			return
		}
		if lines := int64(bytes.Count(out.Bytes(), []byte("\n"))); lines > sum.Lines+sum.Pieces+1 {
			t.Fatalf("%d lines out of %d", lines, sum.Lines)
		}
		if _, err := printfile.Rewrite(io.Discard, &out, g, printfile.Defaults()); !errors.Is(err, printfile.ErrTwice) {
			t.Fatalf("the second time: %v", err)
		}
	})
}
