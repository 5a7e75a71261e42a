package analysis_test

import (
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// A record at the suggested place lowers the largest u95 about as foreseen,
// and one in the middle less.
func TestSuggest(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.1*x + 0.05*x*x })
	better, n := 0, 30
	for seed := range uint64(n) {
		p := standard()
		run := simulate(m, p, seed+1)
		s := analysis.Advise(run, grid(p.reach, 7, 3), 1e-6)
		if !s.Found {
			t.Fatalf("seed %d: no suggestion", seed)
		}
		if s.After >= s.Now {
			t.Errorf("seed %d: %+v", seed, s)
		}
		if centre := analysis.Advise(run, []record.Place{p.zero}, 1e-6); s.After <= centre.After+1e-6 {
			better++
		}
		if x := (s.Place.U - 117.5) / 97.5; x > -0.5 && x < 0.5 {
			t.Logf("seed %d: suggested %v", seed, s)
		}
	}
	if better < n {
		t.Errorf("the middle was better in %d of %d", n-better, n)
	}
	if a := analysis.Advise(record.Run{}, grid(standard().reach, 3, 3), 1e-6); a.Found {
		t.Error("a suggestion without a gap error")
	}
}

// What Expect promises is what runs give, to a third.
func TestExpect(t *testing.T) {
	p := standard()
	setup := record.Setup{Lever: record.Lever{Y: 45}, Zero: p.zero, Criteria: record.DefaultCriteria()}
	straight, ok := analysis.Expect(p.places, setup, false)
	if !ok || straight > 0.020 {
		t.Errorf("linear, twelve gaugings: %.4f, %v", straight, ok)
	}
	bent, ok := analysis.Expect(p.places, setup, true)
	if !ok || bent <= straight {
		t.Errorf("bent: %.4f, %v", bent, ok)
	}
	if _, ok := analysis.Expect(grid(p.reach, 2, 2), setup, true); ok {
		t.Error("two columns promise a bend")
	}
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.15 * x })
	mean, n := 0.0, 20
	for seed := range uint64(n) {
		v := analysis.Judge(simulate(m, p, seed+1))
		mean += v.Gap.Largest().MostDoubt / float64(n)
	}
	if mean < 0.66*straight || mean > 2*straight {
		t.Errorf("promised %.4f, runs give %.4f", straight, mean)
	}
}

// TestMoreUndecided: where the doubt is as small as wanted, and yet the gap error may
// be beyond the tolerance, one more place is asked for; where it is decided, none.
func TestMoreUndecided(t *testing.T) {
	asked, open := 0, 0
	for seed := range uint64(40) {
		m := good()
		m.gap = shaped(func(x, y float64) float64 { return 0.022 * x })
		run := simulate(m, standard(), seed+1)
		v := analysis.Judge(run)
		a, more := v.More(run)
		switch first := v.Findings[0].ID; {
		case first == analysis.Undetermined:
			open++
			if !more || a.Why == "" {
				t.Errorf("seed %d: undetermined, and nothing more is asked for: %+v", seed, a)
			}
		case more && strings.Contains(a.Why, "tolerance"):
			t.Errorf("seed %d: %s, and yet: %s", seed, first, a.Why)
		}
		if more {
			asked++
		}
	}
	if open == 0 {
		t.Error("no run was undecided: the case is not tried")
	}
	t.Logf("%d undecided, %d asked for more", open, asked)
}
