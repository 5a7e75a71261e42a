package analysis_test

import (
	"math"
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/config/say/saytest"
	"abbed/probe/record"
)

// head is a head with roll a, pitch b and straightness z along X (rad, rad, mm over
// mm), for which the gap error with any lever follows from the formulas of
// design/2 alone: m - n = EZX(u) - EZX(u-px) - py a(u-px) + px b(u-px).
type head struct{ a, b, z func(x float64) float64 }

func (h head) gap(l record.Lever) func(u, v float64) float64 {
	return func(u, _ float64) float64 {
		x := u - l.X
		return h.z(u) - h.z(x) - l.Y*math.Sin(h.a(x))*math.Cos(h.b(x)) + l.X*math.Sin(h.b(x))
	}
}

func none(float64) float64 { return 0 }

// The probe remounted, before anyone drills holes, against the true gap error with
// that lever. Where roll alone acts, or pitch or straightness alone, what is
// foretold holds the truth within its interval; what was not measured is refused
// with what to measure.
func TestElsewhere(t *testing.T) {
	deg := math.Pi / 180
	bow := func(x float64) float64 { t := (x - 117.5) / 97.5; return 0.35 * deg * (t + 0.6*t*t) }
	sag := func(x float64) float64 { t := (x - 117.5) / 97.5; return 0.12*t*t + 0.05*t*t*t }
	heads := map[string]head{"roll": {bow, none, none}, "pitch": {none, bow, none}, "straightness": {none, none, sag}, "mixed": {none, func(x float64) float64 { return bow(x) / 2 }, func(x float64) float64 { return sag(x) / 2 }}}
	for name, c := range map[string]struct {
		head, code string
		was, to    record.Lever
	}{
		"half the lever":                  {"roll", "", record.Lever{Y: 45}, record.Lever{Y: 22}},
		"twice the lever":                 {"roll", "", record.Lever{Y: 45}, record.Lever{Y: 90}},
		"in front of the beam":            {"roll", "", record.Lever{Y: 45}, record.Lever{Y: -30}},
		"at the nozzle":                   {"roll", "", record.Lever{Y: 45}, record.Lever{}},
		"beside, not measured":            {"roll", "lever-off-line", record.Lever{Y: 45}, record.Lever{X: 30, Y: 20}},
		"pitch, shorter":                  {"pitch", "", record.Lever{X: -40}, record.Lever{X: -20}},
		"straightness, shorter":           {"straightness", "", record.Lever{X: -40}, record.Lever{X: -25}},
		"both, longer":                    {"mixed", "", record.Lever{X: 40}, record.Lever{X: 55}},
		"far longer":                      {"mixed", "lever-too-far", record.Lever{X: 40}, record.Lever{X: 80}},
		"the other side":                  {"mixed", "lever-too-far", record.Lever{X: 40}, record.Lever{X: -40}},
		"behind, not measured":            {"pitch", "lever-off-line", record.Lever{X: 40}, record.Lever{Y: 40}},
		"oblique, on its line":            {"roll", "lever-oblique", record.Lever{X: 30, Y: 30}, record.Lever{X: 15, Y: 15}},
		"oblique, off its line":           {"roll", "lever-oblique", record.Lever{X: 30, Y: 30}, record.Lever{X: -15, Y: 15}},
		"three hundred and more":          {"roll", "bad-lever", record.Lever{Y: 45}, record.Lever{Y: 301}},
		"from a probe that is the nozzle": {"roll", "no-lever", record.Lever{}, record.Lever{Y: 30}},
	} {
		t.Run(name, func(t *testing.T) {
			h := heads[c.head]
			truth := h.gap(c.to)
			told, inside, wide := 0, 0, 0.0
			for seed := range uint64(20) {
				m := good()
				m.lever, m.gap = c.was, h.gap(c.was)
				run := simulate(m, twenty(), seed)
				v := analysis.Judge(run)
				if v.Gap == nil && c.code == "" {
					continue // that run could not tell its own gap error either
				}
				e := v.Elsewhere(run, c.to)
				if c.code != "" {
					if e.Why == nil || e.Why.Code != c.code || e.Why.Hint == "" {
						t.Fatalf("seed %d: %+v, want %s", seed, e.Why, c.code)
					}
					continue
				}
				if e.Why != nil {
					t.Fatalf("seed %d: %+v", seed, e.Why)
				}
				for _, p := range []record.Place{{U: 45, V: 100}, {U: 70, V: 200}, {U: 165, V: 60}, {U: 185, V: 132}} {
					g, u, why := e.At(p)
					if why != nil {
						t.Fatal(why)
					}
					told++
					wide = math.Max(wide, u)
					if math.Abs(g-truth(p.U, p.V)+truth(117.5, 132.5)) <= u+1e-9 {
						inside++
					}
				}
			}
			if c.code != "" {
				return
			}
			t.Logf("%d of %d within their interval, half width up to %.0f um", inside, told, 1000*wide)
			// 93 % asked of 95: of 80 that are four by a run that are not independent.
			if told < 40 || float64(inside) < 0.90*float64(told) || wide > 0.08 {
				t.Errorf("%d of %d within their interval, half width up to %.3f", inside, told, wide)
			}
		})
	}
}

// Along X a probe elsewhere stands over another part of the beam: what is told names the
// part of the bed that is known, holds the truth there, and says no longest lever. The
// truth: roll none, a straightness of 0.12 mm that bends most at the ends.
func TestElsewhereAlongX(t *testing.T) {
	sag := func(x float64) float64 { t := (x - 117.5) / 97.5; return 0.12*t*t + 0.05*t*t*t }
	h := head{none, none, sag}
	held, told := 0, 0
	for seed := range uint64(20) {
		m := good()
		m.lever = record.Lever{X: -40}
		m.gap = h.gap(m.lever)
		run := simulate(m, twenty(), seed)
		v := analysis.Judge(run)
		if v.Gap == nil {
			continue
		}
		q := record.Lever{X: -58}
		e, truth := v.Elsewhere(run, q), h.gap(q)
		if e.Why != nil {
			t.Fatal(e.Why)
		}
		if want := v.Gap.Area.X1 + v.Gap.Margin - 18; math.Abs(e.Covers.X1-want) > 1e-9 || !strings.Contains(e.Note(), "Known from X") {
			t.Errorf("covers %+v of %+v: %s", e.Covers, v.Gap.Area, e.Note())
		}
		if _, _, why := e.At(record.Place{U: v.Gap.Area.X1, V: 132}); why == nil {
			t.Error("beyond the part that is known a number was given")
		}
		most := 0.0
		for u := e.Covers.X0; u <= e.Covers.X1; u++ {
			most = math.Max(most, math.Abs(truth(u, 132.5)-truth(117.5, 132.5)))
		}
		told++
		if e.Largest.U95 >= math.Abs(math.Abs(e.Largest.Gap)-most) {
			held++
		}
		if p := v.Placement(run, record.Rect{X0: 1, X1: -1}); !math.IsNaN(p.Longest) {
			t.Errorf("a longest lever of %.1f mm", p.Longest)
		}
	}
	if told < 15 || float64(held) < 0.9*float64(told) {
		t.Errorf("%d of %d hold", held, told)
	}
}

// The least error is at the shortest lever that can be mounted, on the line that
// can be foretold; how long it may be follows from the tolerance: with an even
// twist g = -py a, at 97.5 mm from the zero place.
func TestPlacement(t *testing.T) {
	m := evenly(1)
	run := simulate(m, twenty(), 3)
	v := analysis.Judge(run)
	p := v.Placement(run, record.Rect{X0: -5, X1: 5, Y0: 15, Y1: 60})
	if p.Best == nil || math.Abs(p.Best.Lever.Y-15) > 1e-9 || math.Abs(p.Best.Lever.X) > 1 || p.Sentence == "" {
		t.Fatalf("%+v", p)
	}
	// By hand: 45 mm cost 45 x sin(1 deg/m x 97.5 mm) = 0.0766 mm; 0.030 less the
	// doubt is a lever between 13 and 17.6 mm.
	if p.Longest < 12 || p.Longest > 17.7 {
		t.Errorf("a lever of up to %.1f mm", p.Longest)
	}
	t.Log(p.Sentence)
	if p := (analysis.Verdict{}).Placement(record.Run{}, record.Rect{}); p.Best != nil || p.Sentence == "" {
		t.Errorf("from nothing: %+v", p)
	}
}

// No place is recommended at which no probe can be mounted: nearer to the nozzle than a
// probe's body needs (15 mm; common practice, no source), unless the run's own probe is
// that near, or the nozzle is itself the probe. Who asks for such a lever is told.
func TestPlacementHasRoom(t *testing.T) {
	around := record.Rect{X0: -60, X1: 60, Y0: -60, Y1: 61}
	for name, c := range map[string]struct {
		kind         string
		lever        record.Lever
		least, first float64 // the least lever, and the best one's length
	}{
		"a pin at 45 mm":         {"contact-pin", record.Lever{Y: 45}, 15, 15},
		"nobody said the kind":   {"", record.Lever{Y: 45}, 15, 15},
		"nearer than is usual":   {"inductive", record.Lever{Y: 12}, 12, 12},
		"the nozzle's own loads": {"nozzle-load", record.Lever{Y: 45}, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			m := evenly(1)
			m.lever = c.lever
			run := simulate(m, twenty(), 3)
			run.Setup.Kind = record.ProbeKind(c.kind)
			v := analysis.Judge(run)
			p := v.Placement(run, around)
			if p.Best == nil {
				t.Fatalf("%s", p.Sentence)
			}
			if l := p.Best.Lever.Length(); math.Abs(p.Least-c.least) > 1e-9 || l < c.least-1e-9 || l > c.first+3 {
				t.Errorf("least %.1f, best %+v of %.1f mm", p.Least, p.Best.Lever, l)
			}
			at, near := v.Elsewhere(run, record.Lever{}).Note(), v.Elsewhere(run, record.Lever{X: c.lever.X / 9, Y: c.lever.Y / 9}).Note()
			if c.least > 0 != strings.Contains(at, "another kind of probe") || c.least > 0 != strings.Contains(near, "no probe finds room") {
				t.Errorf("at the nozzle: %q; near it: %q", at, near)
			}
			if n := p.Best.Note(); n != "" {
				t.Errorf("of the best: %q", n)
			}
		})
	}
	// Four times the twist: what is within the tolerance cannot be mounted, and so it is
	// said; nothing is recommended where nothing fits.
	m := evenly(4)
	run := simulate(m, twenty(), 3)
	p := analysis.Judge(run).Placement(run, record.Rect{X0: -5, X1: 5, Y0: -5, Y1: 10})
	if p.Best != nil || !strings.Contains(p.Sentence, "None of the positions") {
		t.Errorf("%+v: %s", p.Best, p.Sentence)
	}
	if !(p.Longest < 15) || !strings.Contains(p.Sentence, "no probe finds room") || !strings.Contains(p.Sentence, "another kind of probe") {
		t.Errorf("longest %.1f: %s", p.Longest, p.Sentence)
	}
}

// The five-minute answer over seeds: never a wrong yes or no by more than chance
// allows, and the interval of the wedge holds the truth.
func TestWedge(t *testing.T) {
	p := standard()
	p.repeat, p.survey = false, false
	z := p.zero
	p.places = []record.Place{z, z, {U: 166.25, V: z.V}, {U: 215, V: z.V}, {U: 68.75, V: z.V}, {U: 20, V: z.V}}
	for name, c := range map[string]struct {
		degPerMetre float64
		wrong       string
	}{"a twist of 1.5 deg per m": {1.5, analysis.WorthNo}, "none": {0, analysis.WorthYes}, "a third of the tolerance": {0.13, analysis.WorthYes}} {
		m := evenly(c.degPerMetre)
		want := m.gap(215, z.V) - m.gap(20, z.V)
		count := map[string]int{}
		inside, told := 0, 0
		for seed := range uint64(60) {
			run := simulate(m, p, seed)
			w, why := analysis.Judge(run).Wedge(run)
			if why != nil {
				count[why.Code]++
				continue
			}
			told++
			count[w.Worth]++
			if w.By.Lo95 <= want && want <= w.By.Hi95 {
				inside++
			}
			for _, text := range []string{w.Sentence, w.Next} {
				for _, f := range append(saytest.Faults(text, saytest.Page), saytest.Whole(text)...) {
					t.Errorf("%s: %s", f, text)
				}
			}
		}
		t.Logf("%s: %v, %d of %d intervals hold the truth", name, count, inside, told)
		if told < 50 || float64(inside) < 0.9*float64(told) || count[c.wrong] > 1 {
			t.Errorf("%s: %v, %d of %d", name, count, inside, told)
		}
	}
}
