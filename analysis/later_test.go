package analysis_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"abbed/analysis"
	"abbed/probe/record"
)

// eightPlaces is the standard job with eight records: what the lean plan asks at least.
func eightPlaces() plan {
	p := standard()
	p.places = []record.Place{p.zero, {U: 166, V: 132.5}, {U: 215, V: 215}, {U: 215, V: 50}, {U: 69, V: 132.5}, {U: 20, V: 215}, {U: 20, V: 50}, p.zero}
	return p
}

// gauged is a later run that gauges the zero place twice and then the places.
func gaugedLater(m machine, id string, seed uint64, places ...record.Place) record.Run {
	p := standard()
	p.repeat, p.survey = false, false
	p.places = append([]record.Place{p.zero, p.zero}, places...)
	run := simulate(m, p, 7000+seed)
	run.ID, run.Began = id, time.Unix(1.7e9, 0)
	return run
}

// joined is a run with later ones.
func joined(run record.Run, later ...record.Run) record.Run {
	out := run.Clone()
	for _, l := range later {
		out.Joined = append(out.Joined, analysis.Joining(l))
	}
	return out
}

// TestLater: eight places leave something open, later ones that the run asks for
// settle it; the later run's own Z offset, 0.05 mm off, does not leak into level or
// gap, and the intervals hold the truth.
func TestLater(t *testing.T) {
	held, of := 0, 0
	for _, c := range []struct {
		name string
		gap  func(x, y float64) float64
	}{
		{"slope", func(x, y float64) float64 { return 0.10 * x }},
		{"bow", func(x, y float64) float64 { return 0.06*x + 0.05*x*x }},
		{"twist", func(x, y float64) float64 { return 0.05*x + 0.05*x*y }},
	} {
		in, all, before, after, told, opened, enough, n := 0, 0, 0.0, 0.0, 0, 0, 0, 12
		for seed := range uint64(n) {
			m := good()
			m.gap = shaped(c.gap)
			run := simulate(m, eightPlaces(), seed+1)
			v := analysis.Judge(run)
			if _, ok := v.More(run); ok {
				opened++
			}
			m.level = 0.05
			now, w := run, v
			var places []record.Place
			for range 6 {
				a, ok := w.More(now)
				if !ok && len(places) > 0 {
					enough++
					break
				}
				if !ok { // nothing is open; a person may do more all the same
					a = analysis.Advise(now, grid(run.Setup.Reach, 7, 3), analysis.TargetU95)
				}
				if a.Place.Distance(run.Setup.Zero) < 1 {
					break // a later run begins there anyway
				}
				places = append(places, a.Place)
				now = joined(run, gaugedLater(m, "later", seed, places...))
				w = analysis.Judge(now)
				if l := w.Later; len(l) != 1 || !l[0].Used || l[0].Records != len(places)+2 {
					t.Errorf("%s, seed %d: %+v", c.name, seed, l)
					break
				}
			}
			if w.Gap == nil {
				continue
			}
			told++
			k, n, u := within(w, m, run)
			in, all, after = in+k, all+n, after+u
			if v.Gap != nil {
				_, _, u0 := within(v, m, run)
				before += u0
			} else {
				before += u // it was not told at all
			}
			if d := w.Level.Value - v.Level.Value; math.Abs(d) > 0.012 || math.Abs(w.Level.Value) > 0.03 {
				t.Errorf("%s, seed %d: the level is %.3f with a later run that has 0.050, and %.3f without", c.name, seed, w.Level.Value, v.Level.Value)
			}
		}
		t.Logf("%s: open %d of %d, then told %d, enough %d; mean u95 %.1f um, then %.1f; coverage %.3f", c.name, opened, n, told, enough,
			1000*before/float64(max(told, 1)), 1000*after/float64(max(told, 1)), float64(in)/float64(max(all, 1)))
		held, of = held+in, of+all
		if opened == 0 || told < n*3/4 || enough < n/2 {
			t.Errorf("%s: open %d, told %d, enough %d", c.name, opened, told, enough)
		}
		if after >= 0.95*before {
			t.Errorf("%s: later places made nothing surer: %.4f, before %.4f", c.name, after, before)
		}
		if float64(in) < 0.90*float64(all) {
			t.Errorf("%s: coverage %.3f", c.name, float64(in)/float64(all))
		}
	}
	if float64(held) < 0.93*float64(of) {
		t.Errorf("coverage %.3f over all", float64(held)/float64(of))
	}
}

// What was gauged later belongs to the gauged area, also outside what the run itself
// gauged: nodes there are no longer foretold from the edge.
func TestLaterArea(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.12 * x })
	p := standard()
	p.places = nil
	for _, u := range []float64{117.5, 150, 180, 85, 55} {
		p.places = append(p.places, record.Place{U: u, V: 132.5}, record.Place{U: u, V: 180}, record.Place{U: u, V: 85})
	}
	p.places = append(p.places, p.zero)
	run := simulate(m, p, 3)
	v := analysis.Judge(run)
	at := record.Place{U: 215, V: 215}
	if _, _, why := v.Gap.At(at); why == nil || why.Code != "outside-gauged" {
		t.Fatalf("before: %+v", why)
	}
	tab, refused := v.Table(run)
	later := gaugedLater(m, "later", 3, record.Place{U: 215, V: 215}, record.Place{U: 215, V: 50}, record.Place{U: 20, V: 215}, record.Place{U: 20, V: 50})
	now := joined(run, later)
	w := analysis.Judge(now)
	g, u, why := w.Gap.At(at)
	if why != nil || math.Abs(g-m.trueGap(at, run.Setup.Zero)) > u || w.Gap.Area != (record.Rect{X0: 20, Y0: 50, X1: 215, Y1: 215}) {
		t.Errorf("after: %.3f ±%.3f, true %.3f, %+v, area %+v", g, u, m.trueGap(at, run.Setup.Zero), why, w.Gap.Area)
	}
	if _, _, why := w.Gap.At(record.Place{U: 215 + run.Setup.Criteria.GaugedMargin + 1, V: 215}); why == nil {
		t.Error("beyond the margin of the new place it is still told")
	}
	next, none := w.Table(now)
	if none != nil {
		t.Fatalf("no table: %+v (before: %+v)", none, refused)
	}
	if refused == nil && (tab.Digest == next.Digest || next.LargestU95 >= tab.LargestU95) {
		t.Errorf("digest %s then %s, doubt %.3f then %.3f", tab.Digest, next.Digest, tab.LargestU95, next.LargestU95)
	}
}

// A machine whose head tilts otherwise when it is gauged again: the later gaugings
// are left out whole, it is said with what to do, and no table is offered until a
// later run agrees; the same run is never counted twice.
func TestLaterContradicts(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.10 * x })
	ends := []record.Place{{U: 215, V: 132.5}, {U: 20, V: 132.5}}
	for seed := range uint64(10) {
		run := simulate(m, standard(), seed+1)
		alone := analysis.Judge(run)
		if _, refused := alone.Table(run); refused != nil {
			t.Fatalf("seed %d: no table: %+v", seed, refused)
		}
		moved := m
		moved.gap = shaped(func(x, y float64) float64 { return 0.24 * x })
		now := joined(run, gaugedLater(moved, "b", seed, ends...))
		v := analysis.Judge(now)
		if len(v.Later) != 1 || !v.Later[0].Contradicts || v.Later[0].Used {
			t.Errorf("seed %d: %+v", seed, v.Later)
			continue
		}
		for _, p := range grid(run.Setup.Reach, 4, 3) {
			g, u, _ := v.Gap.At(p)
			g0, u0, _ := alone.Gap.At(p)
			if g != g0 || u != u0 {
				t.Fatalf("seed %d at %s: %.4f ±%.4f, alone %.4f ±%.4f", seed, p, g, u, g0, u0)
			}
		}
		i := slices.IndexFunc(v.Findings, func(f analysis.Finding) bool { return f.ID == analysis.Undetermined })
		if i < 0 || !strings.Contains(v.Findings[i].Sentence, "contradict this run") || !strings.Contains(v.Findings[0].Doubt, "contradict it") || !strings.Contains(v.Findings[i].Next, "measure again") {
			t.Errorf("seed %d: %+v", seed, v.Findings)
		}
		if _, refused := v.Table(now); refused == nil || refused.Code != analysis.FindingPrefix+analysis.Undetermined || !strings.Contains(refused.Hint, "once again") {
			t.Errorf("seed %d: %+v", seed, refused)
		}
		// One that agrees lifts it, and stands in the fit beside the one that was left out.
		now = joined(run, gaugedLater(moved, "b", seed, ends...), gaugedLater(m, "c", seed, ends...))
		v = analysis.Judge(now)
		if len(v.Later) != 2 || !v.Later[0].Contradicts || !v.Later[1].Used || v.Has(analysis.Undetermined) {
			t.Errorf("seed %d: %+v", seed, v.Later)
		}
		if _, refused := v.Table(now); refused != nil {
			t.Errorf("seed %d: %+v", seed, refused)
		}
		// Twice the same, or the run itself, is once.
		c := gaugedLater(m, "c", seed, ends...)
		self := run.Clone()
		twice, once := analysis.Judge(joined(run, c, c, self)), analysis.Judge(joined(run, c))
		if len(twice.Later) != 1 {
			t.Errorf("seed %d: %+v", seed, twice.Later)
		}
		if g, u, _ := twice.Gap.At(ends[0]); true {
			if g1, u1, _ := once.Gap.At(ends[0]); g != g1 || u != u1 {
				t.Errorf("seed %d: %.5f ±%.5f, once %.5f ±%.5f", seed, g, u, g1, u1)
			}
		}
	}
}

// A contradiction stands until a later run that would have shown it too does not: one
// that gauges near the zero place only agrees with any machine, and of many runs of a
// machine that has moved by little more than the doubt one agrees by chance.
func TestLaterStands(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.10 * x })
	ends := []record.Place{{U: 215, V: 132.5}, {U: 20, V: 132.5}}
	near := []record.Place{{U: 130, V: 132.5}, {U: 105, V: 132.5}}
	blind, chance := 0, 0
	for seed := range uint64(20) {
		run := simulate(m, standard(), seed+1)
		moved := m
		moved.gap = shaped(func(x, y float64) float64 { return 0.24 * x })
		now := joined(run, gaugedLater(moved, "b", seed, ends...), gaugedLater(moved, "c", seed, near...))
		v := analysis.Judge(now)
		if !v.Later[0].Contradicts {
			t.Fatalf("seed %d: %+v", seed, v.Later)
		}
		if v.Later[1].Used {
			blind++
		}
		if _, refused := v.Table(now); refused == nil || !v.Has(analysis.Undetermined) || v.Outdated(now) == "" {
			t.Errorf("seed %d: a run near the zero place took the contradiction back: %+v", seed, v.Later)
		}

		moved.gap = shaped(func(x, y float64) float64 { return 0.15 * x })
		now = run
		contradicted := false
		for k := range 6 {
			now = joined(now, gaugedLater(moved, fmt.Sprint("d", k), 100*seed+uint64(k), ends...))
			v := analysis.Judge(now)
			contradicted = contradicted || v.Later[k].Contradicts
			if contradicted && v.Later[k].Used {
				chance++
			}
			if _, refused := v.Table(now); contradicted && refused == nil {
				t.Errorf("seed %d: after %d later runs of a machine that has moved: a table; %+v", seed, k+1, v.Later)
			}
		}
	}
	// A slip of the hand by 0.1 mm at one end is taken back by a run at the same places.
	lifted, slips := 0, 0
	for seed := range uint64(20) {
		run := simulate(m, standard(), seed+1)
		now := joined(run, gaugedLater(m, "b", seed, ends...))
		now.Joined[0].Gaps[len(now.Joined[0].Gaps)-1].G += 0.1
		if !analysis.Judge(now).Later[0].Contradicts {
			continue
		}
		slips++
		now = joined(now, gaugedLater(m, "c", seed, ends...))
		v := analysis.Judge(now)
		if _, refused := v.Table(now); v.Later[0].Lifted && refused == nil && strings.Contains(v.Later[0].Text, "a slip") {
			lifted++
		}
	}
	if slips < 10 || lifted < slips*8/10 {
		t.Errorf("of %d slips %d were taken back", slips, lifted)
	}
	if blind < 10 || chance < 5 {
		t.Errorf("too little was tried: %d runs near the zero place agreed, %d by chance", blind, chance)
	}
}

// On a machine that stays the same a later run is seldom called a contradiction, also
// where it gauges many places.
func TestLaterAgrees(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.10*x + 0.03*x*x })
	wrong, n := 0, 40
	for seed := range uint64(n) {
		run := simulate(m, standard(), seed+1)
		v := analysis.Judge(joined(run, gaugedLater(m, "b", seed, grid(run.Setup.Reach, 3, 3)...)))
		if v.Later[0].Contradicts {
			wrong++
		}
	}
	t.Logf("%d of %d contradict", wrong, n)
	if wrong > 1 {
		t.Errorf("%d of %d contradict", wrong, n)
	}
}

// What a later run says of itself: its own scatter, its slips left out, how warm it
// was, why it ended.
func TestJoining(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.10 * x })
	places := append(times(2, grid(record.Rect{X0: 20, Y0: 50, X1: 215, Y1: 215}, 4, 3)), record.Place{U: 117.5, V: 132.5})
	run := gaugedLater(m, "b", 1, places...)
	run.Gaugings[9].Z += 0.2
	run.Warmth = []record.Warmth{{Step: record.StepGauging, Nozzle: 24, Bed: 60, BedTarget: 60}}
	run.Cut = &record.Cut{Finding: analysis.Repair, Code: "past-floor", Text: "The blade was loose at the floor.", Next: "Repair it."}
	j := analysis.Joining(run)
	if j.Run != "b" || j.Aside != 1 || len(j.Gaps) != len(run.Gaugings)-1 || slices.ContainsFunc(j.Gaps, func(g record.GapReading) bool { return g.Event == run.Gaugings[9].N }) {
		t.Errorf("%d of %d records, %d aside", len(j.Gaps), len(run.Gaugings), j.Aside)
	}
	if j.Warmth == nil || j.Warmth.Bed != 60 || j.Cut == nil || !j.Began.Equal(run.Began) {
		t.Errorf("%+v", j)
	}
	shaky := m
	shaky.gauge = 0.035
	if a, b := mean(j), mean(analysis.Joining(gaugedLater(shaky, "c", 2, places...))); a > 0.014 || a < 0.007 || b < 0.025 {
		t.Errorf("u %.4f of a steady hand, %.4f of an unsteady one", a, b)
	}
	earlier := simulate(m, standard(), 4)
	earlier.Warmth = []record.Warmth{{Step: record.StepGauging, Nozzle: 22, Bed: 21}}
	v := analysis.Judge(joined(earlier, run))
	if f := v.Findings[0]; f.ID != analysis.Repair || !strings.Contains(f.Sentence, "later run") || f.Next != "Repair it." {
		t.Errorf("what the later run met: %+v", f)
	}
	now := joined(earlier, run)
	if _, refused := v.Table(now); refused == nil || refused.Code != analysis.FindingPrefix+analysis.Repair {
		t.Errorf("%+v", refused)
	}
	if all := fmt.Sprintf("%+v", v.Findings); !strings.Contains(all, "The bed was at 60 °C") || !strings.Contains(all, "not at 21 °C") {
		t.Errorf("of the warmth nothing is said: %s", all)
	}
	if n := len(analysis.Joining(record.Run{}).Gaps); n != 0 {
		t.Errorf("%d records of an empty run", n)
	}
}

func mean(j record.Joined) (u float64) {
	for _, g := range j.Gaps {
		u += g.U / float64(len(j.Gaps))
	}
	return u
}
