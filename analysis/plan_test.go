package analysis_test

import (
	"strings"
	"testing"

	"abbed/analysis"
	"abbed/probe/record"
)

// A record at the suggested place leaves about the doubt that was foreseen, over
// seeds, and places that were not suggested leave no less by more than a few per cent.
func TestSuggest(t *testing.T) {
	m := good()
	m.gap = shaped(func(x, y float64) float64 { return 0.1*x + 0.05*x*x })
	foreseen, came, n := 0.0, 0.0, 30
	for seed := range uint64(n) {
		p := standard()
		run := simulate(m, p, seed+1)
		offers := grid(p.reach, 7, 3)
		s := analysis.Advise(run, offers, 1e-6)
		if !s.Found || s.After >= s.Now {
			t.Fatalf("seed %d: %+v", seed, s)
		}
		for _, q := range offers {
			if other := analysis.Advise(run, []record.Place{q}, 1e-6); other.After < 0.9*s.After {
				t.Errorf("seed %d: %s leaves %.4f, and %s was suggested, which leaves %.4f", seed, q, other.After, s.Place, s.After)
			}
		}
		p.places = append(p.places, s.Place)
		foreseen += s.After / float64(n)
		came += analysis.Advise(simulate(m, p, seed+1), offers, 1e-6).Now / float64(n)
	}
	t.Logf("foreseen %.4f, came %.4f", foreseen, came)
	if came < 0.8*foreseen || came > 1.2*foreseen {
		t.Errorf("foreseen %.4f, came %.4f", foreseen, came)
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
