package analysis_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// patched adds readings of printed patches at the edges of the gauged area and
// around the zero place: the gap error, a layer of 0.2 mm that nobody knows
// exactly, and what a patch scatters.
func patched(run record.Run, m machine, seed uint64, wrong float64) record.Run {
	rng := rand.New(rand.NewPCG(seed, 0xc0))
	r := run.Setup.Reach
	for _, p := range append(grid(r, 3, 3), record.Place{U: 69, V: 132.5}, record.Place{U: 166, V: 132.5}) {
		v := 0.2137 + wrong*m.gap(p.U, p.V) + 0.012*rng.NormFloat64()
		run.Readings = append(run.Readings, record.Reading{Quantity: record.QuantityCoupon, Place: p, Value: v, U: 0.012})
	}
	return run
}

// within counts how many contrasts over the gauged area lie within their u95,
// and returns the mean of the u95.
func within(v analysis.Verdict, m machine, run record.Run) (in, all int, mean float64) {
	for _, p := range grid(run.Setup.Reach, 5, 5) {
		g, u, why := v.Gap.At(p)
		if why != nil || p.Distance(run.Setup.Zero) < 1 {
			continue
		}
		all++
		mean += u
		if math.Abs(g-m.trueGap(p, run.Setup.Zero)) <= u {
			in++
		}
	}
	return in, all, mean / float64(max(all, 1))
}

// TestCoupons: printed patches join the fit with their own uncertainty: the
// contrasts keep their coverage and get surer; patches that contradict the
// gaugings are left out, and it is said.
func TestCoupons(t *testing.T) {
	seeds := uint64(30)
	for _, c := range []struct {
		name string
		gap  func(x, y float64) float64
	}{
		{"linear", func(x, y float64) float64 { return 0.10 * x }},
		{"bow", func(x, y float64) float64 { return 0.10*x + 0.05*x*x }},
		{"twisted", func(x, y float64) float64 { return 0.10*x + 0.04*x*y }},
	} {
		m := good()
		m.gap = shaped(c.gap)
		in, all, alone, with := 0, 0, 0.0, 0.0
		for seed := range seeds {
			run := simulate(m, standard(), seed+1)
			before := analysis.Judge(run)
			run = patched(run, m, seed+1, 1)
			v := analysis.Judge(run)
			if v.Gap == nil || before.Gap == nil {
				t.Errorf("%s seed %d: no gap error: %v", c.name, seed+1, v.GapWhy)
				continue
			}
			_, _, a := within(before, m, run)
			i, n, w := within(v, m, run)
			in, all, alone, with = in+i, all+n, alone+a, with+w
		}
		cover := float64(in) / float64(all)
		t.Logf("%s: coverage %.3f; mean u95 %.1f um by the gaugings alone, %.1f um with patches", c.name, cover, 1000*alone/float64(seeds), 1000*with/float64(seeds))
		if cover < 0.93 {
			t.Errorf("%s: coverage %.3f, at least 0.93", c.name, cover)
		}
		if with > 0.9*alone {
			t.Errorf("%s: patches make the doubt %.1f um of %.1f um", c.name, 1000*with, 1000*alone)
		}
	}
	m := good()
	m.gap = shaped(func(x, _ float64) float64 { return 0.15 * x })
	run := simulate(m, standard(), 4)
	before := analysis.Judge(run)
	v := analysis.Judge(patched(run, m, 4, -1)) // thicknesses read with the wrong sign
	a, _, _ := before.Gap.At(record.Place{U: 200, V: 130})
	b, _, _ := v.Gap.At(record.Place{U: 200, V: 130})
	if !strings.Contains(v.Tells[0].Text, "contradict") || a != b {
		t.Errorf("contradicting patches: %.4f before, %.4f after; %s", a, b, v.Tells[0].Text)
	}
}

// read adds readings of an inclinometer on the head: its roll by the beam only,
// a zero that nobody knows, and its own scatter, deg.
func read(run record.Run, rolls func(x float64) float64, u float64, seed uint64) record.Run {
	rng := rand.New(rand.NewPCG(seed, 0xa6))
	for _, x := range []float64{20, 59, 98, 137, 176, 215, 20} {
		v := (0.7+u*rng.NormFloat64())*math.Pi/180 + rolls(x)
		run.Readings = append(run.Readings, record.Reading{Quantity: record.QuantityRoll, Place: record.Place{U: x, V: 132.5}, Value: v, U: u * math.Pi / 180})
	}
	return run
}

// TestAngles: roll readings tell an even twist of the beam from an even roll of
// the Y axis, which the gaugings cannot: the parts lie within their doubt, and
// the finding names the right one. A coarse instrument tells nothing, and that
// is said.
func TestAngles(t *testing.T) {
	const lever = 45.0
	for _, c := range []struct {
		name        string
		beam, y     float64 // mm over the half width, parts of the gap error's slope
		u           float64 // deg
		first, says string
	}{
		{"beam", 0.12, 0, 0.02, analysis.BeamTwist, "it is not the Y axis"},
		{"axis", 0, 0.12, 0.02, analysis.BedRoll, "an even roll of the Y axis"},
		{"both", 0.12, 0.09, 0.02, analysis.BeamTwist, "show both"},
		{"cancel in part", 0.15, -0.06, 0.02, analysis.BeamTwist, "show both"},
		{"coarse", 0.08, 0, 0.5, analysis.BeamTwist, "too coarse"},
	} {
		m := good()
		m.gap = shaped(func(x, _ float64) float64 { return (c.beam + c.y) * x })
		rolls := func(x float64) float64 { return -c.beam / lever * (x - 117.5) / 97.5 }
		in, named, seeds := 0, 0, uint64(30)
		var mean float64
		for seed := range seeds {
			v := analysis.Judge(read(simulate(m, standard(), seed+1), rolls, c.u, seed+1))
			beam := v.Tells[2]
			if beam.What != "beam-slope" || beam.Value == nil || len(beam.By) != 2 {
				t.Fatalf("%s seed %d: not told: %+v", c.name, seed+1, beam)
			}
			mean += beam.Value.U95() / float64(seeds)
			if math.Abs(beam.Value.Value-2*c.beam) <= beam.Value.U95() {
				in++
			}
			f := v.Findings[0]
			if f.ID == c.first && strings.Contains(f.Evidence+f.Doubt, c.says) {
				named++
			} else if seed < 3 {
				t.Logf("%s seed %d: %s: %s | %s", c.name, seed+1, f.ID, f.Evidence, f.Doubt)
			}
		}
		t.Logf("%s: the beam's part within its doubt in %d of %d (mean ±%.3f mm); named right in %d", c.name, in, seeds, mean, named)
		if float64(in) < 0.9*float64(seeds) || float64(named) < 0.9*float64(seeds) {
			t.Errorf("%s: within in %d, named right in %d of %d", c.name, in, named, seeds)
		}
	}
}

// TestPatchesAlone: printed patches that reach the area and include the zero place are a
// reference by themselves: a correction may rest on them, and it is said; without the
// zero place, or with a correction in force, none does.
func TestPatchesAlone(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.12*x + 0.04*x*x })
	p := twenty()
	p.places = nil
	inside, all := 0, 0
	for seed := range uint64(12) {
		run := simulate(m, p, seed+1)
		rng := rand.New(rand.NewPCG(seed, 0xc0))
		for _, q := range append(grid(p.reach, 5, 3), p.zero) {
			run.Readings = append(run.Readings, record.Reading{Quantity: record.QuantityCoupon, Place: q, Value: 0.2 + m.gap(q.U, q.V) + 0.012*rng.NormFloat64(), U: 0.012})
		}
		v := analysis.Judge(run)
		if v.Gap == nil || v.Level != nil {
			t.Fatalf("seed %d: %+v, level %v", seed, v.GapWhy, v.Level)
		}
		if _, r := v.Table(run); r != nil {
			t.Errorf("seed %d: no table: %+v", seed, r)
		}
		if f := v.Findings[0]; f.ID != analysis.BeamTwist || !strings.Contains(f.Doubt, "rests on printed patches alone") {
			t.Errorf("seed %d: %+v", seed, f)
		}
		for _, q := range grid(p.reach, 5, 5) {
			g, u, _ := v.Gap.At(q)
			if all++; math.Abs(g-m.trueGap(q, p.zero)) <= u {
				inside++
			}
		}
		far := run
		far.Setup.Zero = record.Place{U: 117.5, V: 240}
		if v := analysis.Judge(far); v.Gap != nil || v.GapWhy.Code != "zero-not-gauged" {
			t.Errorf("seed %d: without the zero place: %+v", seed, v.GapWhy)
		}
		run.Setup.Applied = &record.Applied{Digest: "x"}
		if v := analysis.Judge(run); v.Gap != nil {
			t.Errorf("seed %d: patches over a correction are taken for the machine", seed)
		}
	}
	if float64(inside) < 0.9*float64(all) {
		t.Errorf("%d of %d contrasts within their doubt", inside, all)
	}
}
