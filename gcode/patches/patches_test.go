package patches_test

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"abbed/gcode/patches"
)

// reader reads a file by RS-274/NGC alone (Kramer, Proctor, Messina: The NIST
// RS274NGC Interpreter, NIST IR 6556, 2000: 3.3 the format of a line, 3.5.1 and
// 3.5.2 G0 and G1, 3.5.17 G90 and G91, 3.5.18 G92), with the trade's E, M82 and
// `;`. It shares nothing with what it checks.
type reader struct {
	at       map[byte]float64 // X Y Z E, as words say them
	absolute bool
	motion   int
	homed    bool
	moves    []moved
	heated   map[string]float64
}

type moved struct {
	from, to map[byte]float64
	e        float64 // filament pushed, mm
	patch    int     // by the comment before it; 0: none
}

func read(t interface{ Fatalf(string, ...any) }, text string) *reader {
	r := &reader{at: map[byte]float64{}, absolute: true, motion: -1, heated: map[string]float64{}}
	sc, n, patch := bufio.NewScanner(strings.NewReader(text)), 0, 0
	for sc.Scan() {
		n++
		line := sc.Text()
		if len(line) > 256 { // 3.3: at most 256 characters
			t.Fatalf("line %d has %d characters", n, len(line))
		}
		code, comment, _ := strings.Cut(line, ";")
		if _, err := fmt.Sscanf(comment, " patch %d at", &patch); err != nil && strings.Contains(comment, "prime") {
			patch = 0
		}
		words := map[byte]float64{}
		var order []byte
		code = strings.ToUpper(strings.Join(strings.Fields(code), ""))
		for i := 0; i < len(code); {
			c := code[i]
			j := i + 1
			for j < len(code) && strings.IndexByte("+-.0123456789", code[j]) >= 0 {
				j++
			}
			v, err := strconv.ParseFloat(code[i+1:j], 64)
			if err != nil && c != 'X' && c != 'Y' && c != 'Z' {
				t.Fatalf("line %d: %q: %v", n, line, err)
			}
			words[c], order, i = v, append(order, c), j
		}
		if len(order) > 0 {
			r.line(t, n, patch, words, order)
		}
	}
	return r
}

func (r *reader) line(t interface{ Fatalf(string, ...any) }, n, patch int, w map[byte]float64, order []byte) {
	switch {
	case order[0] == 'M':
		r.heated[fmt.Sprint("M", w['M'])] = math.Max(r.heated[fmt.Sprint("M", w['M'])], w['S'])
		return
	case w['G'] == 28:
		r.homed = true
		return
	case w['G'] == 21, w['G'] == 90:
		return
	case w['G'] == 92:
		r.at['E'] = w['E']
		return
	case w['G'] != 0 && w['G'] != 1:
		t.Fatalf("line %d: G%g", n, w['G'])
	}
	m := moved{from: map[byte]float64{}, to: map[byte]float64{}, patch: patch}
	for c, v := range r.at {
		m.from[c], m.to[c] = v, v
	}
	for _, c := range order {
		if c != 'G' && c != 'F' {
			m.to[c] = w[c]
		}
	}
	m.e = m.to['E'] - m.from['E']
	r.at = m.to
	r.moves = append(r.moves, m)
}

var bed = patches.Rect{X0: 0, Y0: 0, X1: 235, Y1: 235}

func warm() patches.Settings {
	s := patches.Defaults()
	s.Nozzle, s.Bed = 210, 60
	return s
}

func file(t interface{ Fatalf(string, ...any) }, p patches.Print) string {
	var b bytes.Buffer
	if err := p.Write(&b); err != nil {
		t.Fatalf("%v", err)
	}
	return b.String()
}

// held checks a file by the reader: everything within the bounds, the volume of
// each patch its area times the height to 1e-9, and no travel below the clearance.
func held(t interface {
	Fatalf(string, ...any)
	Errorf(string, ...any)
}, p patches.Print, text string, bounds patches.Rect) {
	s := p.Settings
	filament := math.Pi * s.Filament * s.Filament / 4
	volume := map[int]float64{}
	box := map[int]*patches.Rect{}
	r := read(t, text)
	for _, m := range r.moves {
		dx, dy := m.to['X']-m.from['X'], m.to['Y']-m.from['Y']
		_, known := m.from['X']
		across := known && (dx != 0 || dy != 0) || !known && m.to['X'] != 0
		if _, z := m.from['Z']; across && !z {
			t.Errorf("across before any height was said: %v", m)
		}
		if across && m.e == 0 && math.Min(m.from['Z'], m.to['Z']) < s.Clearance {
			t.Errorf("a travel at z %g from (%g,%g)", m.from['Z'], m.from['X'], m.from['Y'])
		}
		if across && m.e != 0 && (m.e < 0 || m.from['Z'] != s.Height || m.to['Z'] != s.Height) {
			t.Errorf("extrudes %g at z %g", m.e, m.to['Z'])
		}
		if x, y := m.to['X'], m.to['Y']; across && (x < bounds.X0 || x > bounds.X1 || y < bounds.Y0 || y > bounds.Y1) {
			t.Errorf("leads to (%g,%g)", x, y)
		}
		if across && m.e > 0 {
			volume[m.patch] += m.e * filament
			if m.patch > 0 {
				if box[m.patch] == nil {
					box[m.patch] = &patches.Rect{X0: 1e9, Y0: 1e9, X1: -1e9, Y1: -1e9}
				}
				b := box[m.patch]
				b.X0, b.X1 = math.Min(b.X0, math.Min(m.from['X'], m.to['X'])), math.Max(b.X1, math.Max(m.from['X'], m.to['X']))
				b.Y0, b.Y1 = math.Min(b.Y0, math.Min(m.from['Y'], m.to['Y'])), math.Max(b.Y1, math.Max(m.from['Y'], m.to['Y']))
			}
		}
	}
	for _, q := range p.Patches {
		want := p.Area() * s.Height
		if d := math.Abs(volume[q.N]/want - 1); !(d <= 1e-9) {
			t.Errorf("patch %d: %.9f mm3 for %.9f: %g off", q.N, volume[q.N], want, d)
		}
		// The square's middle, where it is measured, is where the plan says.
		if b := box[q.N]; b == nil || math.Abs((b.X0+b.X1)/2-q.U) > 1e-4 || b.Y1-q.V > s.Size/2 || b.Y1-q.V < s.Size/2-s.Width*2 {
			t.Errorf("patch %d is not about (%g,%g)", q.N, q.U, q.V)
		}
	}
	if h := r.heated; h["M109"] > s.NozzleMax || h["M104"] > s.NozzleMax || h["M190"] > s.BedMax || h["M140"] > s.BedMax {
		t.Errorf("heats to %v", h)
	}
}

// TestFile: the default print, by the independent reader.
func TestFile(t *testing.T) {
	p, err := patches.Plan(warm(), bed, bed, patches.Rect{X0: 8, Y0: 45, X1: 227, Y1: 227}, 117.5, 117.5, all)
	if err != nil {
		t.Fatal(err)
	}
	text := file(t, p)
	held(t, p, text, bed)
	if n := len(p.Patches); n < 9 || !p.Patches[0].Zero || p.Patches[0].U != 117.5 {
		t.Errorf("%d patches, the first %v", n, p.Patches[0])
	}
	for _, want := range []string{"M420 S1", "G28", "M109 S210", "M190 S60", "CAUTION", "M104 S0", "M140 S0"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in the file", want)
		}
	}
}

// TestAnyPlan: whatever sizes are asked for, a plan that is made holds, with a
// travel of the nozzle that is not the bed.
func TestAnyPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := warm()
		s.Size = rapid.Float64Range(8, 40).Draw(t, "size")
		s.Width = rapid.Float64Range(0.25, 1.2).Draw(t, "width")
		s.Height = rapid.Float64Range(0.05, math.Min(1, s.Width)).Draw(t, "height")
		s.Filament = rapid.SampledFrom([]float64{1.75, 2.85}).Draw(t, "filament")
		s.Retract = rapid.Float64Range(0, 6).Draw(t, "retract")
		travel := patches.Rect{X0: rapid.Float64Range(-10, 20).Draw(t, "x0"), Y0: rapid.Float64Range(-10, 20).Draw(t, "y0"), X1: 230, Y1: 220}
		zu, zv := rapid.Float64Range(60, 170).Draw(t, "zu"), rapid.Float64Range(60, 170).Draw(t, "zv")
		p, err := patches.Plan(s, bed, travel, bed, zu, zv, all)
		if err != nil {
			if !regexp.MustCompile(`proof\.|travel over|farther`).MatchString(err.Error()) {
				t.Errorf("no remedy: %v", err)
			}
			return
		}
		bounds := patches.Rect{X0: math.Max(s.Margin, travel.X0), Y0: math.Max(s.Margin, travel.Y0), X1: math.Min(235-s.Margin, travel.X1), Y1: math.Min(235-s.Margin, travel.Y1)}
		held(t, p, file(t, p), bounds)
		for i, a := range p.Patches {
			for _, b := range p.Patches[:i] {
				if math.Abs(a.U-b.U) < s.Size && math.Abs(a.V-b.V) < s.Size {
					t.Errorf("patches %d and %d lie on each other", b.N, a.N)
				}
			}
		}
	})
}

// TestRefused: what cannot be printed is refused with the key to change.
func TestRefused(t *testing.T) {
	for name, c := range map[string]struct {
		with func(*patches.Settings)
		says string
	}{
		"cold":         {func(s *patches.Settings) { s.Nozzle = 0 }, "proof.nozzle"},
		"too hot":      {func(s *patches.Settings) { s.Nozzle = 300 }, "heat.nozzle_max"},
		"bed too hot":  {func(s *patches.Settings) { s.Bed = 130 }, "heat.bed_max"},
		"start hot":    {func(s *patches.Settings) { s.Start = []byte("G28\nM109 R290\n") }, "line 2"},
		"placeholder":  {func(s *patches.Settings) { s.Start = []byte("M104 S{first}\n") }, "placeholders"},
		"no text":      {func(s *patches.Settings) { s.End = []byte("\x00\x01") }, "no text"},
		"no size":      {func(s *patches.Settings) { s.Size = math.NaN() }, "size"},
		"tall line":    {func(s *patches.Settings) { s.Height = 0.8 }, "flat top"},
		"low":          {func(s *patches.Settings) { s.Clearance = 0.2 }, "clearance"},
		"endless file": {func(s *patches.Settings) { s.Start = bytes.Repeat([]byte("G4\n"), 1<<15) }, "whole print"},
	} {
		s := warm()
		c.with(&s)
		if _, err := patches.Plan(s, bed, bed, bed, 117.5, 117.5, all); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := patches.Plan(warm(), bed, bed, bed, 5, 117.5, all); err == nil || !strings.Contains(err.Error(), "zero point") {
		t.Errorf("zero place at the edge: %v", err)
	}
}

// TestOwnFiles: the person's lines stand as they were, ours set the modes after.
func TestOwnFiles(t *testing.T) {
	s := warm()
	s.Start, s.End = []byte("G28\r\nM109 S200\r\nG91\r\n"), []byte("M104 S0\nG28 X\n")
	p, err := patches.Plan(s, bed, bed, bed, 117.5, 117.5, all)
	if err != nil {
		t.Fatal(err)
	}
	text := file(t, p)
	start, modes := strings.Index(text, "G28\nM109 S200\nG91\n"), strings.Index(text, "G90 ; places")
	if start < 0 || modes < start || strings.Count(text, "M109") != 1 || !strings.Contains(text, "M104 S0\nG28 X\n") {
		t.Error(text[:min(len(text), 3000)])
	}
}

// TestSheet: each patch has a line to write on, and stands in the plan; on either
// paper.
func TestSheet(t *testing.T) {
	p, err := patches.Plan(warm(), bed, bed, bed, 117.5, 117.5, all)
	if err != nil {
		t.Fatal(err)
	}
	for _, paper := range []patches.Paper{patches.A4, patches.Letter} {
		var b bytes.Buffer
		if err := p.Sheet(&b, paper); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(b.String(), `<td class="write">`); n != 2*len(p.Patches) || !strings.Contains(b.String(), "size: "+string(paper)) || !strings.Contains(b.String(), p.Plan) || strings.Contains(b.String(), "ZgotmplZ") {
			t.Errorf("%s: %d places to write", paper, n)
		}
	}
	if err := p.Sheet(&bytes.Buffer{}, "A0"); err == nil {
		t.Error("A0 was taken")
	}
}

// all takes what is offered, nine places at most.
func all(offered [][2]float64) (out []int) {
	for i := range min(9, len(offered)) {
		out = append(out, i)
	}
	return out
}

// TestPairs: two patches beside each other at each place where the bed has room for them,
// one where it has not, and none touches another.
func TestPairs(t *testing.T) {
	for size, want := range map[float64]int{235: 18, 120: 14, 80: 6} {
		bed := patches.Rect{X1: size, Y1: size}
		p, err := patches.Plan(warm(), bed, bed, bed, size/2, size/2, all)
		if err != nil || len(p.Patches) != want {
			t.Errorf("%d patches on %.0f mm, %d are wanted: %v", len(p.Patches), size, want, err)
		}
		for i, a := range p.Patches {
			for _, b := range p.Patches[:i] {
				if s := p.Settings.Size + 1; math.Abs(a.U-b.U) < s && math.Abs(a.V-b.V) < s {
					t.Errorf("patches %d and %d touch: %+v, %+v", b.N, a.N, b, a)
				}
			}
		}
	}
}
