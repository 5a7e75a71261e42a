package model_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"abbed/analysis/model"
	"abbed/probe/record"
)

const deg = math.Pi / 180

// prototype is the prior of the prototype: sizes by degree, times a grid of scales.
func prototype() model.Prior {
	roll, pitch, straight := []float64{.3, .12, .08, .05, .02, .01}, []float64{.15, .06, .04, .015, .008, .004}, []float64{.05, .08, .04, .015, .008, .004}
	straightY, axis := []float64{.04, .05, .02, .008, .004, .002}, []float64{.15, .12, .06, .02, .01, .005}
	p := model.Prior{Level: 0.5, Tram: 1, Leave: 60, Drop: 1e-9}
	set := func(m *model.Member, of model.Motion, sizes []float64, unit, scale, bends float64) {
		for d, s := range sizes {
			if d > 0 {
				s *= bends
			}
			m.SD[int(of)*model.Degree+d] = s * unit * scale
		}
	}
	for _, hx := range []float64{.02, .15, .5, 1.3} {
		for _, qx := range []float64{.05, .3, 1.2} {
			for _, hy := range []float64{.02, .25, 1} {
				for _, qy := range []float64{.1, 1} {
					for _, hz := range []float64{.05, .35, 1.2} {
						var m model.Member
						set(&m, model.EAX, roll, deg, hx, qx)
						set(&m, model.EBX, pitch, deg, hx, qx)
						set(&m, model.EZX, straight, 1, 1, 1)
						set(&m, model.EZY, straightY, 1, hz, 1)
						set(&m, model.EAY, axis, deg, hy, qy)
						set(&m, model.EBY, axis, deg, hy, qy)
						p.Members = append(p.Members, m)
					}
				}
			}
		}
	}
	for d, s := range straight {
		p.Unread[int(model.EZX)*model.Degree+d] = s
	}
	bed := model.BedOf(func(i, j int) float64 {
		switch n := i + j; {
		case n == 1:
			return 0.1
		case n <= 4:
			return 0.08 * math.Pow(0.4, float64(n-2))
		}
		return 0
	})
	p.Beds = append(p.Beds, bed)
	for _, h := range []float64{0.010, 0.008, 0.012, 0.018, 0.005} {
		if h != 0.010 {
			p.Hands = append(p.Hands, model.Hand{SD: h, Log: -math.Pow(math.Log(h/0.01)/0.5, 2) / 2})
		}
	}
	return p
}

// TestPrototype holds the algebra to a prototype in numpy on the same records: the
// mean within 0.1 um, the standard deviation within 1 %.
func TestPrototype(t *testing.T) {
	var golden struct {
		Cases []struct {
			Name     string
			Bed      [2]float64
			Lever    [2]float64
			Zero     [2]float64
			Moving   bool `json:"moving_bed"`
			Sigma    float64
			Survey   [3][]float64
			Readings [3][]float64
			At       [2][]float64
			Mean, SD []float64
		}
	}
	b, err := os.ReadFile("testdata/prototype.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &golden); err != nil || len(golden.Cases) == 0 {
		t.Fatal(err, len(golden.Cases))
	}
	for _, c := range golden.Cases {
		t.Run(c.Name, func(t *testing.T) {
			bed := record.Rect{X1: c.Bed[0], Y1: c.Bed[1]}
			m := model.Machine{Lever: record.Lever{X: c.Lever[0], Y: c.Lever[1]}, Layout: record.MovingBed, Bed: bed, Travel: bed}
			if !c.Moving {
				m.Layout = record.MovingGantry
			}
			place := func(a [3][]float64, i int) record.Place { return record.Place{U: a[0][i], V: a[1][i]} }
			var d model.Data
			mean := 0.0
			for _, y := range c.Readings[2] {
				mean += y / float64(len(c.Readings[2]))
			}
			for i, y := range c.Readings[2] {
				d.Readings = append(d.Readings, model.Reading{Row: m.Gap(place(c.Readings, i)), Y: y - mean, Hand: true})
			}
			height := 0.0
			for _, z := range c.Survey[2] {
				height += z / float64(len(c.Survey[2]))
			}
			d.Survey(len(c.Survey[0]), func(i int) (model.Row, float64) {
				return m.Laid(place(c.Survey, i)).Plus(m.Surface(place(c.Survey, i))), c.Survey[2][i] - height
			})
			p, ok := d.Fit(m, prototype(), c.Sigma)
			if !ok {
				t.Fatal("no posterior")
			}
			zero := m.Gap(record.Place{U: c.Zero[0], V: c.Zero[1]})
			for i, want := range c.Mean {
				got, v := p.At(m.Gap(record.Place{U: c.At[0][i], V: c.At[1][i]}).Minus(zero))
				if sd := math.Sqrt(v); math.Abs(got-want) > 1e-4 || math.Abs(sd-c.SD[i]) > 0.01*c.SD[i] {
					t.Errorf("at %v, %v: %.5f sd %.5f, want %.5f sd %.5f", c.At[0][i], c.At[1][i], got, sd, want, c.SD[i])
				}
			}
		})
	}
}
