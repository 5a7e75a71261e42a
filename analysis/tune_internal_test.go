package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"abbed/probe/record"
)

func TestTune(t *testing.T) {
	if os.Getenv("TUNE") == "" {
		t.Skip()
	}
	area := record.Rect{X0: 20, Y0: 50, X1: 215, Y1: 215}
	mid := area.Middle()
	at := func(x, y float64) record.Place { return record.Place{U: mid.U + 97.5*x, V: mid.V + 82.5*y} }
	var plans = map[string][]record.Place{}
	var a []record.Place
	for _, x := range []float64{-1, -1. / 3, 1. / 3, 1} {
		for _, y := range []float64{-1, 0, 1} {
			a = append(a, at(x, y))
		}
	}
	plans["12 4x3"] = a
	a = nil
	for _, y := range []float64{-1, 1} {
		for _, x := range []float64{-1, -.5, 0, .5, 1} {
			a = append(a, at(x, y))
		}
	}
	plans["12 5x2+2zero"] = append(append([]record.Place{}, a...), mid, mid)
	plans["12 5x2+2ends"] = append(append([]record.Place{}, a...), at(-1, 0), at(1, 0))
	plans["12 5x2+zero+"] = []record.Place{at(0, 0), at(-1, -1), at(-1, 1), at(1, -1), at(1, 1), at(-1, 0), at(1, 0), at(-.5, -1), at(-.5, 1), at(.5, -1), at(.5, 1), at(0, 0)}
	plans["20 5x2x2"] = append(append([]record.Place{}, a...), a...)
	plans["20 3x3x2+2"] = nil
	for _, y := range []float64{-1, 0, 1} {
		for _, x := range []float64{-1, -.4, .4, 1} {
			plans["20 3x3x2+2"] = append(plans["20 3x3x2+2"], at(x, y))
		}
	}
	plans["20 3x3x2+2"] = append(plans["20 3x3x2+2"], mid, mid, at(-1, -1), at(1, 1), at(-1, 1), at(1, -1), at(-.4, 0), at(.4, 0))
	type tr struct {
		name string
		f    func(x, y float64) float64
		bed  func(x float64) float64
	}
	z := func(x float64) float64 { return 0 }
	trs := []tr{
		{"const", func(x, y float64) float64 { return 0 }, z},
		{"linear", func(x, y float64) float64 { return .15 * x }, z},
		{"linear+dish", func(x, y float64) float64 { return .15 * x }, func(x float64) float64 { return .2 * x * x }},
		{"quad", func(x, y float64) float64 { return .08*x + .1*x*x }, z},
		{"quad+bed", func(x, y float64) float64 { return .08*x + .1*x*x }, func(x float64) float64 { return .1 * math.Sin(3*x) }},
		{"cubic", func(x, y float64) float64 { return .1*x + .06*x*x + .1*x*x*x }, z},
		{"cubic hid", func(x, y float64) float64 { return .1*x + .06*x*x + .1*x*x*x }, func(x float64) float64 { return -.06*x*x - .1*x*x*x }},
		{"small cubic", func(x, y float64) float64 { return .1*x + .02*x*x - .025*x*x*x }, z},
		{"ts", func(x, y float64) float64 { return .1*x + .06*x*y }, z},
		{"small ts", func(x, y float64) float64 { return .1*x + .015*x*y }, z},
		{"s", func(x, y float64) float64 { return .1*x + .06*y }, z},
		{"wave", func(x, y float64) float64 { return .1*x + .05*math.Sin(4*x) }, z},
	}
	n := 400
	names := []string{"12 4x3", "12 5x2+2ends", "12 5x2+zero+", "20 5x2x2", "20 3x3x2+2"}
	for _, sg := range []float64{0.010} {
		for _, pn := range names {
			places := plans[pn]
			var cov, all int
			line := ""
			for _, tr := range trs {
				rng := rand.New(rand.NewPCG(1, 2))
				var rms []float64
				c, k := 0, 0
				width := 0.0
				for range n {
					prof := &Profile{}
					var xs, fs []float64
					for i := range 25 {
						x := -1 + float64(i)/12
						xs = append(xs, at(x, 0).U)
						fs = append(fs, tr.f(x, 0)+tr.bed(x)+.0019*rng.NormFloat64())
					}
					b := straightened(xs, fs)
					ss := 0.0
					for i := range xs {
						prof.Columns = append(prof.Columns, Effect{At: xs[i], Bend: b[i], U: .0019, N: 7})
						ss += b[i] * b[i]
					}
					prof.Significant = ss/23/(.0019*.0019) > 1.85
					var ps []Paired
					for _, p := range places {
						x, y := (p.U-mid.U)/97.5, (p.V-mid.V)/82.5
						ps = append(ps, Paired{Place: p, G: tr.f(x, y) + sg*rng.NormFloat64() + .0025*rng.NormFloat64(), U: .0025, Touches: 4})
					}
					o := observe(ps, record.DefaultCriteria())
					sp := supportOf(ps, prof)
					s, ok := average(o, sp.candidates(len(ps)), newFrame(area, prof))
					if !ok {
						panic("x")
					}
					e2, m := 0.0, 0
					for j := range 7 {
						for i := range 7 {
							x, y := -1+float64(i)/3, -1+float64(j)/3
							g, u := s.contrast(at(x, y), mid)
							e := g - (tr.f(x, y) - tr.f(0, 0))
							e2 += e * e
							m++
							k++
							width += u
							if math.Abs(e) <= u {
								c++
							}
						}
					}
					rms = append(rms, 1000*math.Sqrt(e2/float64(m)))
				}
				slices.Sort(rms)
				cov += c
				all += k
				line += fmt.Sprintf("  %s %.1f/%.3f/%.0f", tr.name, rms[n*95/100], float64(c)/float64(k), 1000*width/float64(k))
			}
			fmt.Printf("%-14s cov %.3f %s\n", pn, float64(cov)/float64(all), line)
		}
	}
}
