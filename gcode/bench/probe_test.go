package bench_test

import (
	"math"
	"testing"
	"time"

	"abbed/gcode/bench"
)

func moments(z []float64) (mean, sd float64) {
	for _, v := range z {
		mean += v / float64(len(z))
	}
	for _, v := range z {
		sd += (v - mean) * (v - mean) / float64(len(z)-1)
	}
	return mean, math.Sqrt(sd)
}

// series touches one place n times, coming from alternating sides by moves
// of 15 mm, and returns the heights from the left and from the right.
func series(r *rig, n int, axis byte) (up, down []float64) {
	r.ask("G28")
	r.ask("M420 S0")
	for k := range 2 * n {
		d := 15.0
		if k%2 == 0 {
			d = -15
		}
		u, v := 110.0, 110.0
		if axis == 'X' {
			r.touch(u+d, v)
		} else {
			r.touch(u, v+d)
		}
		z := r.touch(u, v)
		if k%2 == 0 {
			up = append(up, z)
		} else {
			down = append(down, z)
		}
	}
	return up, down
}

func TestScatterAndPlay(t *testing.T) {
	for _, c := range []struct {
		name       string
		axis       byte
		play, sd   float64
		tolP, tolS float64
	}{
		{"healthy", 'X', 0, 0.005, 0.003, 0.0015},
		{"loose-carriage", 'X', 0.08, 0.005, 0.003, 0.0015},
		{"loose-carriage-y", 'Y', 0.08, 0.005, 0.003, 0.0015},
		{"probe-not-repeatable", 'X', 0, 0.06, 0.03, 0.015},
	} {
		t.Run(c.name, func(t *testing.T) {
			onWire(t, scenario(t, c.name), bench.Options{Wording: 1, Seed: 11}, func(r *rig) {
				up, down := series(r, 40, c.axis)
				mu, su := moments(up)
				md, sd := moments(down)
				if math.Abs(mu-md-c.play) > c.tolP || math.Abs(su-c.sd) > c.tolS || math.Abs(sd-c.sd) > c.tolS {
					t.Errorf("play %.4f, sd %.4f and %.4f", mu-md, su, sd)
				}
			})
		})
	}
}

func TestDriftFollowsItsLaw(t *testing.T) {
	onWire(t, scenario(t, "drift-settling"), bench.Options{Wording: 1, Seed: 2}, func(r *rig) {
		r.ask("G28")
		r.ask("M420 S0")
		r.ask("M84 S0")
		z0, d0 := r.touch(100, 100), r.p.Truth().Drift(r.virtual())
		time.Sleep(20 * time.Minute)
		z1, d1 := r.touch(100, 100), r.p.Truth().Drift(r.virtual())
		if d1-d0 < 0.08 || math.Abs(z1-z0-(d1-d0)) > 0.03 {
			t.Errorf("drifted by %.3f, law %.3f", z1-z0, d1-d0)
		}
	})
}

// virtual is the time since power-on at speed 1.
func (r *rig) virtual() float64 { return time.Since(r.began).Seconds() }

func TestFirstTouch(t *testing.T) {
	onWire(t, scenario(t, "twist-first-touch"), bench.Options{Wording: 1, Seed: 2}, func(r *rig) {
		r.ask("G28")
		r.ask("M420 S0")
		r.ask("M84 S0")
		var first, other []float64
		for range 20 {
			time.Sleep(2 * time.Minute)
			first = append(first, r.touch(100, 100))
			other = append(other, r.touch(100, 100))
		}
		a, _ := moments(first)
		b, _ := moments(other)
		if math.Abs(a-b-0.03) > 0.006 {
			t.Errorf("first touches differ by %.4f", a-b)
		}
	})
}

func TestOutliersAreRareAndLarge(t *testing.T) {
	onWire(t, scenario(t, "twist-outliers"), bench.Options{Wording: 1, Seed: 5}, func(r *rig) {
		r.ask("G28")
		r.ask("M420 S0")
		want := r.p.Truth().Map(100, 100)
		n := 0
		for range 400 {
			if d := math.Abs(r.touch(100, 100) - want); d > 0.1 {
				n++
			}
		}
		if n < 2 || n > 18 {
			t.Errorf("%d outliers in 400, want about 8", n)
		}
	})
}

// Standing still the worn machine repeats; from pass to pass its row does
// not. (Seen on real machines: 4-6 um standing, 20-27 um between passes,
// design/2.)
func TestWornWheelsWander(t *testing.T) {
	for _, name := range []string{"worn-wheels", "wandering", "twist-worn"} {
		for seed := range uint64(5) {
			onWire(t, scenario(t, name), bench.Options{Wording: 1, Seed: seed}, func(r *rig) {
				r.ask("G28")
				r.ask("M420 S0")
				var still []float64
				for range 20 {
					still = append(still, r.touch(110, 110))
				}
				if _, sd := moments(still); sd > 0.009 {
					t.Errorf("%s: standing %.4f", name, sd)
				}
				var rows [3][]float64
				for k := range rows {
					r.touch(50, 110)
					for u := 50.0; u <= 170; u += 3 {
						rows[k] = append(rows[k], r.touch(u, 110))
					}
				}
				var sum float64
				for i := range rows[0] {
					_, sd := moments([]float64{rows[0][i], rows[1][i], rows[2][i]})
					sum += sd * sd
				}
				if rms := math.Sqrt(sum / float64(len(rows[0]))); rms < 0.012 {
					t.Errorf("%s seed %d: %.4f between passes", name, seed, rms)
				}
			})
		}
	}
}

// Reports are rounded as the scenario says.
func TestCoarseReports(t *testing.T) {
	onWire(t, scenario(t, "coarse-reports"), bench.Options{Wording: 1}, func(r *rig) {
		r.ask("G28")
		for range 10 {
			if z := r.touch(60, 60) * 100; math.Abs(z-math.Round(z)) > 1e-9 {
				t.Errorf("told %.4f", z/100)
			}
		}
	})
}

// The stored map is what the probe would have measured, and a stale one is
// not.
func TestStoredMap(t *testing.T) {
	for _, sc := range bench.Scenarios() {
		if sc.Finding == "loose-carriage" || sc.Finding == "worn-wheels" || sc.Finding == "probe-not-repeatable" || sc.Outlier > 0 {
			continue
		}
		p := bench.New(sc, bench.Options{Seed: 4})
		truth := p.Truth()
		off := 0
		for j, row := range p.Nodes() {
			for i, z := range row {
				if math.Abs(z-truth.Map(truth.Node(i, j))) > 0.03 {
					off++
				}
			}
		}
		if off != len(sc.Stale) {
			t.Errorf("%s: %d nodes differ from the bed", sc.Name, off)
		}
	}
}

// The unsteady drift fits no line, yet from touch to touch the probe repeats:
// that is what lets a program name it rightly.
func TestUnsteadyDrift(t *testing.T) {
	for seed := range uint64(5) {
		onWire(t, scenario(t, "drift-unsteady"), bench.Options{Wording: 1, Seed: seed}, func(r *rig) {
			r.ask("G28")
			r.ask("M420 S0")
			var ts, zs, steps []float64
			for k := range 100 {
				ts = append(ts, r.virtual())
				zs = append(zs, r.touch(100, 100))
				if k > 0 {
					steps = append(steps, (zs[k]-zs[k-1])/math.Sqrt2)
				}
			}
			mt, st := moments(ts)
			mz, _ := moments(zs)
			slope := 0.0
			for k := range ts {
				slope += (ts[k] - mt) * (zs[k] - mz) / (st * st * float64(len(ts)-1))
			}
			for k := range zs {
				zs[k] -= slope * (ts[k] - mt)
			}
			_, left := moments(zs)
			_, step := moments(steps)
			if left < 0.025 || step > 0.010 {
				t.Errorf("seed %d: %.4f about a line, %.4f from touch to touch, in %.0f s", seed, left, step, ts[99]-ts[0])
			}
		})
	}
}

// A survey as design/1 would have it, over every scenario: no contact, no low
// travel, nothing out of bounds, whatever is off.
func TestASoundSurveyIsClean(t *testing.T) {
	for _, sc := range bench.Scenarios() {
		if sc.Straight38 || sc.Finding == "repair" {
			continue
		}
		onWire(t, sc, bench.Options{Wording: 1, Seed: 9, Speed: 10}, func(r *rig) {
			truth := r.p.Truth()
			r.ask("G28")
			r.ask("M420 S0")
			for j := range truth.Rows {
				for i := range truth.Cols {
					u, v := truth.Node(i, j)
					r.touch(u, v)
				}
			}
			s := r.p.Safety()
			if s.NozzleTouches(0) != 0 || s.LowTravel != 0 || s.OutOfBounds != 0 || s.Unhomed != 0 || s.Touches != truth.Cols*truth.Rows+1 {
				t.Errorf("%s: %+v", sc.Name, s)
			}
		})
	}
}
