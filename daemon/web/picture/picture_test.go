package picture_test

import (
	"encoding/xml"
	"fmt"
	"html/template"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"abbed/daemon/web/picture"
)

const hostile = `"><script>alert(1)</script>'&`

// drawings are all kinds, with the least, the usual and the odd to draw.
func drawings() map[string]template.HTML {
	nan := math.NaN()
	field := picture.Field{X: []float64{0, 50, 100}, Y: []float64{0, 100}, Z: [][]float64{{0, 0.1, 0.2}, {0.1, nan, 0.3}}}
	bed := picture.Area{X1: 100, Y1: 100}
	return map[string]template.HTML{
		"no bed":     picture.Bed{Alt: hostile}.SVG(),
		"a plan":     picture.Bed{Bed: bed, Alt: hostile, Marks: []picture.Mark{{U: 1, V: 2, Kind: "next", Label: hostile, Tip: hostile}, {Kind: "done", Tip: hostile}, {Kind: "zero"}, {Tip: hostile}}}.SVG(),
		"heights":    picture.Bed{Bed: bed, Field: field, Unit: hostile, Low: hostile, High: hostile, Alt: hostile}.SVG(),
		"signed":     picture.Bed{Bed: bed, Field: field, Signed: true, Reach: 0.03, Unit: "mm"}.SVG(),
		"flat":       picture.Bed{Bed: bed, Field: picture.Field{X: []float64{0, 1}, Y: []float64{0, 1}, Z: [][]float64{{1, 1}, {1, 1}}}}.SVG(),
		"one touch":  picture.Bed{Bed: bed, Field: picture.Gather([]picture.Point{{U: 1, V: 1, Z: 1}})}.SVG(),
		"a profile":  picture.Profile{X: []float64{0, 1, 2}, Effect: []float64{0, 0.1, 0}, U: []float64{0.01, 0.01, 0.01}, Front: []float64{0, nan, 0}, Alt: hostile}.SVG(),
		"no profile": picture.Profile{}.SVG(),
		"dots":       picture.Dots{Series: []picture.Series{{Name: hostile, Z: []float64{0.1, 0.2}}, {}, {Name: "one", Z: []float64{0.1}}}, Alt: hostile}.SVG(),
		"no dots":    picture.Dots{}.SVG(),
		"time":       picture.Timeline{T: []float64{0, 60, 120}, Z: []float64{0, 0.01, 0.02}, Alt: hostile}.SVG(),
		"no time":    picture.Timeline{}.SVG(),
		"passes":     picture.Passes{X: [][]float64{{0, 1, 2}, {0, 1}}, Z: [][]float64{{0, 1, 2}, {0, 1}}, Alt: hostile}.SVG(),
		"no passes":  picture.Passes{}.SVG(),
		"a tilt":     picture.Tilt{Lever: -42, Alt: hostile, Heads: []picture.Head{{Name: hostile, Gap: -0.1}, {}, {Gap: 0.2}}}.SVG(),
		"no lever":   picture.Tilt{Heads: []picture.Head{{Gap: 0.1}, {Gap: nan}}}.SVG(),
	}
}

// Every drawing is well-formed, holds no text that became structure, no
// coordinate that is no number, and nothing that a strict policy refuses.
func TestDrawings(t *testing.T) {
	forbidden := regexp.MustCompile(`<script|<style|\sstyle=|\son[a-z]+=|NaN|Inf`)
	for name, svg := range drawings() {
		d := xml.NewDecoder(strings.NewReader(string(svg)))
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v in %s", name, err, svg)
			}
			if e, ok := tok.(xml.StartElement); ok {
				for _, a := range e.Attr {
					if strings.HasPrefix(a.Name.Local, "on") || a.Name.Local == "style" {
						t.Errorf("%s: attribute %s", name, a.Name.Local)
					}
				}
			}
		}
		if bad := forbidden.FindString(string(svg)); bad != "" {
			t.Errorf("%s: %q in %s", name, bad, svg)
		}
	}
}

func TestGather(t *testing.T) {
	f := picture.Gather([]picture.Point{{U: 10, V: 5, Z: 1}, {U: 0, V: 5.3, Z: 2}, {U: 0.2, V: 80, Z: 3}, {U: 0, V: 5, Z: 4}})
	if len(f.X) != 2 || len(f.Y) != 2 {
		t.Fatalf("%d columns, %d rows", len(f.X), len(f.Y))
	}
	if f.Z[0][0] != 3 || f.Z[0][1] != 1 || f.Z[1][0] != 3 || !math.IsNaN(f.Z[1][1]) {
		t.Errorf("%v: want the mean of 2 and 4, and a hole", f.Z)
	}
}

// Between its values a field is bilinear: it gives back any u v plane exactly.
func TestFieldAt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SliceOfN(rapid.Float64Range(-1, 1), 4, 4).Draw(t, "c")
		plane := func(u, v float64) float64 { return c[0] + c[1]*u + c[2]*v + c[3]*u*v }
		f := picture.Field{X: []float64{0, 3, 10}, Y: []float64{-5, 2, 4}}
		for _, v := range f.Y {
			var row []float64
			for _, u := range f.X {
				row = append(row, plane(u, v))
			}
			f.Z = append(f.Z, row)
		}
		u, v := rapid.Float64Range(0, 10).Draw(t, "u"), rapid.Float64Range(-5, 4).Draw(t, "v")
		// Piecewise bilinear is exact for u v only within its cell's own plane,
		// which all cells share here.
		if got := f.At(u, v); math.Abs(got-plane(u, v)) > 1e-9 {
			t.Fatalf("at (%g, %g): %g, want %g", u, v, got, plane(u, v))
		}
		if !math.IsNaN(f.At(10.1, v)) {
			t.Fatal("a value outside the field")
		}
	})
}

var fills = regexp.MustCompile(`fill="#([0-9a-f]{6})"`)

// scale returns the colours of the scale under a picture, from low to high.
func scale(b picture.Bed) [][3]float64 {
	b.Bed = picture.Area{X1: 100, Y1: 100}
	b.Field = picture.Field{X: []float64{0, 1}, Y: []float64{0, 1}, Z: [][]float64{{-1, 1}, {-1, 1}}}
	m := fills.FindAllStringSubmatch(string(b.SVG()), -1)
	var out [][3]float64
	for _, s := range m[len(m)-15:] {
		var r, g, bl int
		_, _ = fmt.Sscanf(s[1], "%02x%02x%02x", &r, &g, &bl)
		out = append(out, [3]float64{linear(r), linear(g), linear(bl)})
	}
	return out
}

// linear undoes the curve of sRGB (IEC 61966-2-1, as in WCAG 2.2).
func linear(c int) float64 {
	v := float64(c) / 255
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// lightness is L* of CIE 1976, of the relative luminance of WCAG 2.2.
func lightness(c [3]float64) float64 {
	y := 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	if y <= 216.0/24389 {
		return y * 24389 / 27
	}
	return 116*math.Cbrt(y) - 16
}

// blind is how the two kinds of red-green blindness see a colour (F. Viénot,
// H. Brettel, J. Mollon, "Digital video colourmaps for checking the legibility
// of displays by dichromats", 1999; matrices for linear sRGB, from memory).
var blind = map[string][3][3]float64{
	"protan": {{0.11238, 0.88762, 0}, {0.11238, 0.88762, 0}, {0.00401, -0.00401, 1}},
	"deutan": {{0.29275, 0.70725, 0}, {0.29275, 0.70725, 0}, {-0.02234, 0.02234, 1}},
}

func see(m [3][3]float64, c [3]float64) (out [3]float64) {
	for i := range 3 {
		for j := range 3 {
			out[i] += m[i][j] * c[j]
		}
	}
	return out
}

// Heights: lightness rises with each band, in print and for every eye alike.
func TestHeightsRise(t *testing.T) {
	cs := scale(picture.Bed{})
	for name, m := range map[string][3][3]float64{"all": {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, "protan": blind["protan"], "deutan": blind["deutan"]} {
		for i := 1; i < len(cs); i++ {
			if step := lightness(see(m, cs[i])) - lightness(see(m, cs[i-1])); step < 2 {
				t.Errorf("%s: band %d is lighter by %.1f only", name, i, step)
			}
		}
	}
}

// Signs: the middle is the lightest, both ends are as dark as each other, and
// blue and orange stay apart for eyes that do not tell red from green.
func TestSignsApart(t *testing.T) {
	cs := scale(picture.Bed{Signed: true})
	n := len(cs)
	if d := lightness(cs[0]) - lightness(cs[n-1]); math.Abs(d) > 8 {
		t.Errorf("one end is darker by %.1f", d)
	}
	for i := range n / 2 {
		if lightness(cs[i]) > lightness(cs[i+1]) || lightness(cs[n-1-i]) > lightness(cs[n-2-i]) {
			t.Errorf("band %d from an end is lighter than the next one inward", i)
		}
	}
	for name, m := range blind {
		for i := range 5 {
			lo, hi := see(m, cs[i]), see(m, cs[n-1-i])
			if blueness(lo)-blueness(hi) < 0.1 {
				t.Errorf("%s: bands %d from either end look alike: %.2f and %.2f", name, i, lo, hi)
			}
		}
	}
}

// blueness is how much more blue than yellow a colour is.
func blueness(c [3]float64) float64 { return c[2] - (c[0]+c[1])/2 }

// One bad touch does not stretch the colours; without one, nothing is cut off.
func TestScaleLeavesOutliersOut(t *testing.T) {
	f := picture.Field{X: []float64{0, 1, 2, 3, 4}, Y: []float64{0, 1}, Z: [][]float64{{0, 0.01, 0.02, 0.03, 0.04}, {0.01, 0.02, 0.03, 0.04, 0.05}}}
	if lo, hi, ok := f.Scale(); lo != 0 || hi != 0.05 || !ok {
		t.Errorf("%g to %g", lo, hi)
	}
	f.Z[1][2] = -3
	if lo, hi, _ := f.Scale(); lo != 0 || hi != 0.05 {
		t.Errorf("with an outlier: %g to %g", lo, hi)
	}
	if n := (picture.Bed{Field: f}).Beyond(); n != 1 {
		t.Errorf("%d beyond", n)
	}
}

// The factor brings the largest angle to 16 degrees or a little less: 0.1 mm on
// 42 mm is 0.1364 degrees, so 100 times.
func TestTiltFactor(t *testing.T) {
	if k := (picture.Tilt{Lever: -42, Heads: []picture.Head{{Gap: 0.1}, {Gap: -0.05}}}).Factor(); k != 100 {
		t.Errorf("%g", k)
	}
	if k := (picture.Tilt{Lever: 42}).Factor(); k != 0 {
		t.Errorf("nothing to draw: %g", k)
	}
}

// A nozzle that is too high is drawn above the broken line, one that digs in
// below it, whichever side the probe is on; and the probe's tip is on the bed.
func TestTiltDrawsTheRightWay(t *testing.T) {
	nozzle := regexp.MustCompile(`<path d="M\S+ \S+L\S+ \S+L(\S+) ([0-9.]+)L[^"]*" class="nozzle"`)
	probe := regexp.MustCompile(`<path d="M\S+ \S+L\S+ \S+L(\S+) ([0-9.]+)L[^"]*" class="probe"`)
	for _, lever := range []float64{-42, 42} {
		svg := string(picture.Tilt{Lever: lever, Heads: []picture.Head{{Gap: -0.1}, {}, {Gap: 0.1}}}.SVG())
		var ys, xs [3]float64
		for i, m := range nozzle.FindAllStringSubmatch(svg, -1) {
			_, _ = fmt.Sscan(m[1], &xs[i])
			_, _ = fmt.Sscan(m[2], &ys[i])
		}
		if !(ys[0] > ys[1]+5 && ys[2] < ys[1]-5 && ys[1] == 102) {
			t.Errorf("lever %g: nozzles at %v; below, on and above 102 are wanted", lever, ys)
		}
		for i, m := range probe.FindAllStringSubmatch(svg, -1) {
			var x, y float64
			_, _ = fmt.Sscan(m[1], &x)
			_, _ = fmt.Sscan(m[2], &y)
			if y != 128 || (x > xs[i]) != (lever > 0) {
				t.Errorf("lever %g: probe %d at %g, %g beside a nozzle at %g", lever, i, x, y, xs[i])
			}
		}
	}
}
