package analysis_test

import (
	"math"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// The rate of twist against what the simulated head was given: g = -py a, so that
// a roll that grows by k rad per mm is g = -py k u. 40 mm and 3 deg per m are
// what a 20 x 20 profile may have within ANSI H35.2 (design/4).
func TestRates(t *testing.T) {
	const perMetre = 3 * math.Pi / 180 / 1000
	for name, c := range map[string]struct {
		lever        record.Lever
		gap          func(u, v float64) float64
		twist, pitch float64 // rad per mm; NaN: not told
	}{
		"even twist":         {record.Lever{Y: 40}, func(u, _ float64) float64 { return -40 * perMetre / 3 * u }, perMetre / 3, math.NaN()},
		"lever to the front": {record.Lever{Y: -40}, func(u, _ float64) float64 { return 40 * perMetre / 4 * u }, perMetre / 4, math.NaN()},
		"no twist":           {record.Lever{Y: 40}, flat, 0, math.NaN()},
		"even pitch":         {record.Lever{X: -40}, func(u, _ float64) float64 { return -40 * perMetre / 4 * u }, math.NaN(), perMetre / 4},
		"oblique":            {record.Lever{X: 30, Y: 30}, func(u, _ float64) float64 { return -30 * perMetre / 4 * u }, math.NaN(), math.NaN()},
		"no lever":           {record.Lever{}, flat, math.NaN(), math.NaN()},
	} {
		t.Run(name, func(t *testing.T) {
			m := good()
			m.lever, m.gap = c.lever, c.gap
			told, inside := 0, 0
			for seed := range uint64(20) {
				run := simulate(m, standard(), seed)
				r := analysis.Judge(run).Rates(c.lever)
				for _, x := range []struct {
					got  *analysis.Measured
					want float64
				}{{r.Twist, c.twist}, {r.Pitch, c.pitch}} {
					if (x.got == nil) != math.IsNaN(x.want) {
						t.Fatalf("seed %d: told %v, want %v", seed, x.got, x.want)
					}
					if x.got == nil {
						continue
					}
					told++
					if x.got.Lo95 <= x.want && x.want <= x.got.Hi95 {
						inside++
					}
					// Over 195 mm with 40 mm: 25 um of g are 3.2e-6 rad per mm.
					if h := x.got.U95(); h > 5e-6 || h <= 0 {
						t.Errorf("seed %d: half width %.2g rad per mm", seed, h)
					}
				}
			}
			// 95 % of 20: 16 or fewer come once in 60 by chance (binomial law); seeds are fixed.
			if told > 0 && inside < 17 {
				t.Errorf("%d of %d intervals hold the truth", inside, told)
			}
		})
	}
	if r := (analysis.Verdict{}).Rates(record.Lever{Y: 40}); r.Twist != nil || r.Pitch != nil {
		t.Error("told without a gap")
	}
}
