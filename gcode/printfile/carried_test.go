package printfile_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"abbed/gcode/printfile"

	"pgregory.net/rapid"
)

// compare holds the file after to the file before: each move, known by the
// number in its comment, ends at the same place but for Z; Z is the old one with
// the tapered correction, at the ends to the step of the written word and along
// the way within the tolerance; the way in X and Y is as long, what was fed is
// the same.
func compare(before, after string, s printfile.Surface, o printfile.Options) error {
	was, err := readNGC(before)
	if err != nil {
		return fmt.Errorf("before: %w", err)
	}
	is, err := readNGC(after)
	if err != nil {
		return fmt.Errorf("after: %w", err)
	}
	if math.Abs(was.fed-is.fed) > 1e-9*math.Max(1, math.Abs(was.fed)) {
		return fmt.Errorf("fed %.12g, before %.12g", is.fed, was.fed)
	}
	if was.resets != is.resets || was.toolings != is.toolings {
		return fmt.Errorf("resets or tool changes were lost")
	}
	add := func(p [3]float64) float64 {
		w := (o.Taper - p[2]) / (o.Taper - o.Full)
		return math.Max(0, math.Min(1, w)) * s.Add(p[0], p[1])
	}
	k := 0
	for _, a := range was.strokes {
		var pieces []stroke
		for {
			if k == len(is.strokes) {
				return fmt.Errorf("the move of line %d is missing", a.line)
			}
			pieces = append(pieces, is.strokes[k])
			k++
			if is.strokes[k-1].tag == a.tag {
				break
			}
		}
		if err := same(a, pieces, add, o.Tolerance); err != nil {
			return fmt.Errorf("line %d, move %s in %d pieces: %w", a.line, a.tag, len(pieces), err)
		}
	}
	if k != len(is.strokes) {
		return fmt.Errorf("%d moves too many", len(is.strokes)-k)
	}
	return nil
}

func same(a stroke, pieces []stroke, add func([3]float64) float64, tolerance float64) error {
	last := pieces[len(pieces)-1]
	if d := math.Hypot(a.to[0]-last.to[0], a.to[1]-last.to[1]); d > 1e-7 { // an end that no word names is written to 1e-9 of the unit
		return fmt.Errorf("ends %g mm off", d)
	}
	if !a.known {
		return nil
	}
	if d := last.to[2] - a.to[2] - add(a.to); math.Abs(d) > 0.6e-4 {
		return fmt.Errorf("Z at the end is %.5f off", d)
	}
	long, fed := 0.0, 0.0
	for _, p := range pieces {
		long += p.length()
		fed += p.fed
	}
	// Between the ends X and Y are written to 0.0001 mm: of a straight way that
	// costs nothing, of an arc's radius so much each piece.
	slack := 1e-7
	if a.g >= 2 {
		slack = 2e-4 * float64(len(pieces)) * math.Max(1, math.Abs(a.sweep))
	}
	if math.Abs(long-a.length()) > slack {
		return fmt.Errorf("way in X and Y %.9f, before %.9f", long, a.length())
	}
	if math.Abs(fed-a.fed) > 1e-9*math.Max(1, math.Abs(a.fed)) {
		return fmt.Errorf("fed %.12g, before %.12g", fed, a.fed)
	}
	if a.length() < 0.011 {
		return nil
	}
	done, out := 0.0, 0.0
	for _, p := range pieces {
		for _, t := range []float64{0, 0.25, 0.5, 0.75, 1} {
			here := p.at(t)
			was := a.at((done + t*p.length()) / long)
			if d := math.Hypot(here[0]-was[0], here[1]-was[1]); d > 0.003 {
				return fmt.Errorf("the way leaves the old one by %.4f mm at %v", d, here)
			}
			if d := here[2] - was[2] - add(was); math.Abs(d) > tolerance+1e-4 {
				return fmt.Errorf("Z along the way is %.5f off at %v", d, here)
			}
		}
		done += p.length()
		out += p.fed
		if d := out - a.fed*done/long; math.Abs(d) > 1e-5+1e-4*math.Abs(a.fed)/math.Max(long, 1e-3) {
			return fmt.Errorf("what is fed runs ahead by %g", d)
		}
	}
	return nil
}

// farOutside holds a refusal to the file: the move of that line feeds, and ends more
// than Beyond outside the nodes of the test's grid; no move before it does.
func farOutside(text string, line int64) error {
	m, err := readNGC(text)
	if err != nil {
		return err
	}
	for _, s := range m.strokes {
		d := math.Hypot(math.Max(math.Max(5-s.to[0], s.to[0]-215), 0), math.Max(math.Max(10-s.to[1], s.to[1]-200), 0))
		far := s.known && s.fed > 0 && s.length() > 0 && s.to[2] < 10 && d > printfile.Beyond
		if far || int64(s.line) >= line {
			if far && int64(s.line) == line {
				return nil
			}
			return fmt.Errorf("the move of line %d ends %.1f mm outside", s.line, d)
		}
	}
	return fmt.Errorf("no move stands in line %d", line)
}

// wave is a smooth surface, so that nothing depends on Grid: h sin(x/l) cos(y/l).
type wave struct{ h, l float64 }

func (w wave) Add(x, y float64) float64 { return w.h * math.Sin(x/w.l) * math.Cos(y/w.l) }

// Second derivatives are at most 2 h/l^2 along any line; an eighth of that times
// the length squared bounds the bulge.
func (w wave) Bulge(x0, y0, x1, y1 float64) float64 {
	d := (x1-x0)*(x1-x0) + (y1-y0)*(y1-y0)
	return math.Min(2*w.h, w.h/(w.l*w.l)*d/4)
}

func (w wave) Outside(float64, float64) float64 { return 0 }

func (w wave) Bounds() (float64, float64) { return w.h, w.h / w.l * math.Sqrt2 }

func grid(t *rapid.T) *printfile.Grid {
	nx, ny := rapid.IntRange(2, 8).Draw(t, "columns"), rapid.IntRange(2, 8).Draw(t, "rows")
	add := make([][]float64, ny)
	for j := range add {
		for range nx {
			add[j] = append(add[j], float64(rapid.IntRange(-400, 400).Draw(t, "um"))/1000)
		}
	}
	g, err := printfile.NewGrid(5, 10, 215, 200, add)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestBulgeBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := grid(t)
		c := func(n string) float64 { return rapid.Float64Range(-20, 240).Draw(t, n) }
		x0, y0, x1, y1 := c("x0"), c("y0"), c("x1"), c("y1")
		bound := g.Bulge(x0, y0, x1, y1)
		a, b := g.Add(x0, y0), g.Add(x1, y1)
		for i := range 101 {
			f := float64(i) / 100
			d := math.Abs(g.Add(x0+f*(x1-x0), y0+f*(y1-y0)) - a - f*(b-a))
			if d > bound+1e-12 {
				t.Fatalf("bulges by %.6f at %.2f, said at most %.6f", d, f, bound)
			}
		}
	})
}

// program writes a file at random with its own model of where the head is.
type program struct {
	t        *rapid.T
	b        strings.Builder
	n        int
	at       [3]float64 // words of the present place, present unit
	e        float64
	relative bool
	drips    bool
	inch     bool
	eol      string
}

func (p *program) say(format string, a ...any) {
	fmt.Fprintf(&p.b, format, a...)
	p.b.WriteString(p.eol)
}

func (p *program) unit() float64 {
	if p.inch {
		return 25.4
	}
	return 1
}

func (p *program) number(lo, hi float64, name string) float64 {
	d := 1e3
	if p.inch {
		d = 1e5
	}
	return math.Round(rapid.Float64Range(lo, hi).Draw(p.t, name)/p.unit()*d) / d
}

// word writes a letter with the place v along axis a, or the way to it.
func (p *program) word(l string, a int, v float64) string {
	d := 1e3
	if p.inch {
		d = 1e6
	}
	out := v
	if p.relative {
		out = math.Round((v-p.at[a])*d) / d
		v = p.at[a] + out
	}
	p.at[a] = v
	return fmt.Sprintf(" %s%v", l, strconvFixed(out))
}

func strconvFixed(v float64) string {
	s := fmt.Sprintf("%.7f", v)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".")
}

func (p *program) feed() string {
	if !rapid.Bool().Draw(p.t, "feeds") {
		return ""
	}
	d := p.number(-2, 8, "e")
	if p.drips {
		return " E" + strconvFixed(d)
	}
	p.e += d
	return " E" + strconvFixed(p.e)
}

func (p *program) step() {
	p.n++
	tag := fmt.Sprintf(" ; %d", p.n)
	switch rapid.IntRange(0, 17).Draw(p.t, "what") {
	case 0:
		p.relative = !p.relative
		p.say("%s%s", map[bool]string{true: "G91", false: "G90"}[p.relative], tag)
		p.say("%s", map[bool]string{true: "M83", false: "M82"}[p.drips])
	case 1:
		p.drips = !p.drips
		p.say("%s", map[bool]string{true: "M83", false: "M82"}[p.drips])
		p.say("G92 E0")
		p.e = 0
	case 2:
		// A new unit: the words of the present place change with it.
		p.inch = !p.inch
		f := 25.4
		if p.inch {
			f = 1 / 25.4
		}
		for a := range p.at {
			p.at[a] *= f
		}
		p.say("%s", map[bool]string{true: "G20", false: "G21"}[p.inch])
		p.say("G92 E0")
		p.e = 0
	case 3:
		p.say("G92 E0")
		p.e = 0
	case 4:
		a := rapid.IntRange(0, 2).Draw(p.t, "axis")
		v := p.number(-30, 30, "reset")
		p.say("G92 %c%s", "XYZ"[a], strconvFixed(v))
		p.at[a] = v
	case 5:
		p.say("%s", rapid.SampledFrom([]string{"T1", "M117 layer X5 Y5", "; G1 X999", "(note)", "", "M104 S200", "PAUSE_NOW X=1", "G4 P10", "G10", "G11"}).Draw(p.t, "other"))
	case 6:
		p.say("G1%s F600%s", p.word("Z", 2, p.at[2]+p.number(-1, 3, "dz")), tag)
	case 7, 8:
		p.arc(tag)
	case 9:
		p.say("g%dx%sy%s%s", 0, p.word("", 0, p.at[0]+p.number(-60, 60, "dx"))[1:], p.word("", 1, p.at[1]+p.number(-60, 60, "dy"))[1:], tag)
	default:
		s := "G1"
		if rapid.Bool().Draw(p.t, "x") {
			s += p.word("X", 0, p.at[0]+p.number(-90, 90, "dx"))
		}
		if rapid.Bool().Draw(p.t, "y") {
			s += p.word("Y", 1, p.at[1]+p.number(-90, 90, "dy"))
		}
		if rapid.IntRange(0, 3).Draw(p.t, "z") == 0 {
			s += p.word("Z", 2, p.at[2]+p.number(-2, 4, "dz"))
		}
		if s == "G1" {
			s += p.word("X", 0, p.at[0]+p.number(1, 9, "dx"))
		}
		p.say("%s%s F1800%s", s, p.feed(), tag)
	}
}

// arc turns about a middle nearby, in either form.
func (p *program) arc(tag string) {
	r := p.number(2, 60, "r")
	a0 := rapid.Float64Range(0, 6.28).Draw(p.t, "angle")
	i, j := r*math.Cos(a0), r*math.Sin(a0)
	d := 1e3
	if p.inch {
		d = 1e5
	}
	i, j = math.Round(i*d)/d, math.Round(j*d)/d
	g := rapid.IntRange(2, 3).Draw(p.t, "g")
	sweep := rapid.Float64Range(0.3, 6).Draw(p.t, "sweep")
	if math.Abs(sweep-math.Pi) < 0.2 {
		sweep = 2.5
	}
	signed := sweep
	if g == 2 {
		signed = -sweep
	}
	whole := rapid.IntRange(0, 5).Draw(p.t, "full") == 0
	s := fmt.Sprintf("G%d", g)
	if whole {
		p.say("%s I%s J%s%s%s", s, strconvFixed(i), strconvFixed(j), p.feed(), tag)
		return
	}
	sin, cos := math.Sincos(signed)
	cx, cy := p.at[0]+i, p.at[1]+j
	x, y := cx-i*cos+j*sin, cy-i*sin-j*cos
	fine := 1e5
	x, y = math.Round(x*fine)/fine, math.Round(y*fine)/fine
	x0, y0 := p.at[0], p.at[1]
	s += p.arcWord("X", 0, x) + p.arcWord("Y", 1, y)
	if rapid.Bool().Draw(p.t, "helix") {
		s += p.word("Z", 2, p.at[2]+p.number(-1, 1, "dz"))
	}
	if rapid.Bool().Draw(p.t, "R") {
		radius := math.Hypot(i, j)
		if half := math.Hypot(p.at[0]-x0, p.at[1]-y0) / 2; radius < half {
			radius = half + 1e-6
		}
		if sweep > math.Pi {
			radius = -radius
		}
		s += " R" + strconvFixed(radius)
	} else {
		s += " I" + strconvFixed(i) + " J" + strconvFixed(j)
	}
	p.say("%s%s%s", s, p.feed(), tag)
}

func (p *program) arcWord(l string, a int, v float64) string {
	out := v
	if p.relative {
		out = math.Round((v-p.at[a])*1e6) / 1e6
		v = p.at[a] + out
	}
	p.at[a] = v
	return " " + l + strconvFixed(out)
}

// TestCarried is the property: any such file, on any surface, either form of
// line end.
func TestCarried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s printfile.Surface = wave{0.3, rapid.Float64Range(20, 100).Draw(t, "l")}
		if rapid.Bool().Draw(t, "grid") {
			s = grid(t)
		}
		o := printfile.Defaults()
		o.Tolerance = rapid.SampledFrom([]float64{0.002, 0.005, 0.02}).Draw(t, "tolerance")
		p := &program{t: t, eol: rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "eol"), at: [3]float64{100, 90, 0.3}}
		p.say("G28 ; home")
		p.say("G90")
		p.say("M82")
		p.say("G92 E0")
		p.say("G1 X100 Y90 Z0.3 F3000 ; 0")
		for range rapid.IntRange(1, 25).Draw(t, "lines") {
			p.step()
		}
		before := p.b.String()
		var after strings.Builder
		sum, err := printfile.Rewrite(&after, strings.NewReader(before), s, o)
		if le, ok := errors.AsType[*printfile.LineError](err); ok && strings.Contains(le.Cause, "outside the nodes") {
			if err := farOutside(before, le.Line); err != nil {
				t.Fatalf("%v: %v\n%s", le, err, before)
			}
			return
		}
		if err != nil {
			t.Fatalf("%v\n%s", err, before)
		}
		if err := compare(before, after.String(), s, o); err != nil {
			t.Fatalf("%v\n%+v\n%s\n-----\n%s", err, sum, before, after.String())
		}
		if p.eol == "\r\n" && strings.Count(after.String(), "\n") != strings.Count(after.String(), "\r\n") {
			t.Fatal("a line end was not kept")
		}
	})
}
