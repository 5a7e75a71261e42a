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

// farOutside holds a refusal to the file: the move of that line feeds, and ends more
// than Beyond outside the nodes of the test's grid; no move before it does.
func farOutside(text string, line int64, end float64) error {
	m, err := readNGC(text)
	if err != nil {
		return err
	}
	for n, l := range m.lines[:line] {
		if l.move == nil {
			continue
		}
		p := l.move.at(1)
		d := math.Hypot(max(5-p[0], p[0]-215, 0), max(10-p[1], p[1]-200, 0))
		if far := l.move.lays() && p[2] < end && d > printfile.Beyond; far != (int64(n+1) == line) {
			return fmt.Errorf("the move of line %d ends %.1f mm outside", n+1, d)
		}
	}
	return nil
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

// bilinear is a grid with its nodes, which it reads by the weights of the four nodes
// around, the rectangles opposite to them (handbook bilinear interpolation).
type bilinear struct {
	*printfile.Grid
	nodes [][]float64
}

func (b bilinear) Add(x, y float64) float64 {
	nx, ny := len(b.nodes[0])-1, len(b.nodes)-1
	u, v := math.Max(0, math.Min(1, (x-5)/210))*float64(nx), math.Max(0, math.Min(1, (y-10)/190))*float64(ny)
	i, j := min(int(u), nx-1), min(int(v), ny-1)
	right, back := u-float64(i), v-float64(j)
	return b.nodes[j][i]*(1-right)*(1-back) + b.nodes[j][i+1]*right*(1-back) + b.nodes[j+1][i]*(1-right)*back + b.nodes[j+1][i+1]*right*back
}

func (b bilinear) Bounds() (float64, float64) {
	largest := 0.0
	for _, row := range b.nodes {
		for _, v := range row {
			largest = math.Max(largest, math.Abs(v))
		}
	}
	return largest, 0
}

func grid(t *rapid.T) bilinear {
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
	return bilinear{g, add}
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

// TestCarried is the property: any such file, on any surface, with either form of
// line end, is carried right or refused for a reason that holds. Outside CI:
//
//	go test ./gcode/printfile -run TestCarried -rapid.checks 2000 -v
func TestCarried(t *testing.T) {
	var w worst
	files, refused, lines := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		var s printfile.Surface = wave{0.3, rapid.Float64Range(20, 100).Draw(t, "l")}
		rewritten := s
		if rapid.Bool().Draw(t, "grid") {
			g := grid(t)
			s, rewritten = g, g.Grid
		}
		o := printfile.Defaults()
		o.Tolerance = rapid.SampledFrom([]float64{0.002, 0.005, 0.02}).Draw(t, "tolerance")
		o.Fade = rapid.SampledFrom([]float64{0.005, 0.02, 0.1}).Draw(t, "fade")
		o.Full = rapid.SampledFrom([]float64{0, 0, 0.4, 3}).Draw(t, "full")
		before := program(t)
		var after strings.Builder
		sum, err := printfile.Rewrite(&after, strings.NewReader(before), rewritten, o)
		files, lines = files+1, lines+strings.Count(before, "\n")
		if o.Full == 0 {
			m, err := readNGC(before)
			if err != nil {
				t.Fatalf("%v\n%s", err, before)
			}
			o.Full = float(m.firstLayers())
			if largest, _ := s.Bounds(); math.Abs(sum.Full-o.Full) > 1e-9 || math.Abs(sum.End-o.Full-largest/o.Fade) > 1e-9 {
				t.Fatalf("in full up to %g, none from %g; the second layer is at %g, the largest addition %g\n%s", sum.Full, sum.End, o.Full, largest, before)
			}
		}
		if le, ok := errors.AsType[*printfile.LineError](err); ok {
			refused++
			switch line := strings.Split(before, "\n")[le.Line-1]; {
			case strings.Contains(le.Cause, "outside the nodes"):
				err = farOutside(before, le.Line, sum.End)
			case strings.Contains(le.Cause, "carries a checksum and") && strings.Contains(line, "*"):
				err = nil
			}
			if err != nil {
				t.Fatalf("%v\n%s", err, before)
			}
			return
		}
		if err != nil {
			t.Fatalf("%v\n%s", err, before)
		}
		if err := w.compare(before, after.String(), faded(s, o.Full, o.Fade), o.Tolerance); err != nil {
			t.Fatalf("%v\n%+v\n%s\n-----\n%s", err, sum, before, after.String())
		}
		if strings.Contains(before, "\r\n") && strings.Count(after.String(), "\n") != strings.Count(after.String(), "\r\n") {
			t.Fatal("a line end was not kept")
		}
	})
	t.Logf("%d files, %d lines, %d refused; worst: Z at ends %.4g mm, along the way %.3f of the tolerance; X and Y at ends %.2g, along the way %.2g mm; E at ends 0, along the way %.2g mm",
		files, lines, refused, w.endZ, w.z, w.endXY, w.xy, w.fed)
}
