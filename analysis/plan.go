package analysis

import (
	"math"

	"abbed/analysis/fit"
	"abbed/probe/record"
)

// Suggestion is where one more gauging would help most.
type Suggestion struct {
	Place record.Place `json:"place"`
	// Now is the largest u95 in the gauged area, After what it would be with
	// one more record at Place, mm.
	Now   float64 `json:"now"`
	After float64 `json:"after"`
}

// Suggest returns the place, of those given, at which one more record would
// lower the largest u95 of the gauged area most, the candidates' weights held.
// It is false without a Gap that rests on gaugings, and where no place would
// lower it.
// What a record leaves is told by matrix.learn.
func (v Verdict) Suggest(places []record.Place) (Suggestion, bool) {
	if v.Gap == nil || len(v.Gap.surface.members) == 0 {
		return Suggestion{}, false
	}
	g := v.Gap
	at := g.lattice(5)
	best := Suggestion{Now: g.worst(at, nil)}
	best.After = best.Now
	found := false
	for _, p := range places {
		if after := g.worst(at, &p); after < best.After-1e-6 {
			best.Place, best.After, found = p, after, true
		}
	}
	return best, found
}

// worst returns the largest u95 at the places, as if one more record were there
// if it is not nil.
func (g *Gap) worst(at []record.Place, more *record.Place) float64 {
	s := g.surface
	cov := s.cov
	if more != nil {
		cov.learn(s.frame.every(*more), s.spread())
	}
	worst := 0.0
	for _, p := range at {
		c, _ := s.difference(p, g.Zero, func(term) bool { return true })
		v := cov.times(c) + s.unsure(p, g.Zero, func(term) bool { return true })
		worst = math.Max(worst, v)
	}
	return z95 * math.Sqrt(worst)
}

// Expect returns the largest u95 that gaugings at the places would give over
// their rectangle, mm, before anything is gauged: for a gap error that is
// linear, or bent up to the third power with t s, with the expected scatter of
// a gauging. It is false where the places cannot tell that many terms.
func Expect(places []record.Place, zero record.Place, bent bool, c record.Criteria) (u95 float64, ok bool) {
	terms := []term{termOne, termT}
	if bent {
		terms = append(terms, termT2, termT3, termTS)
	}
	area := record.Bound(places)
	f := newFrame(area, nil)
	rows := make([][]float64, len(places))
	for i, p := range places {
		rows[i] = f.row(terms, p)
	}
	r, err := fit.Least(rows, make([]float64, len(rows)), nil)
	if err != nil || r.Rank < len(terms) || r.Condition > crossing || r.DoF < 1 {
		return 0, false
	}
	k := fit.T95(r.DoF+priorDoF) * c.GaugeScatter
	g := Gap{Area: area}
	for _, p := range g.lattice(5) {
		d := f.row(terms, p)
		for i, z := range f.row(terms, zero) {
			d[i] -= z
		}
		u95 = math.Max(u95, k*math.Sqrt(r.Variance(d)))
	}
	return u95, true
}
