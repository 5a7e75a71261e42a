package analysis

import (
	"math"

	"abbed/probe/record"
)

// Constants of a gauging that is planned as it goes.
const (
	// leanLeast records are made before the question whether they are enough is
	// asked at all; bentLeast before it may be answered yes where the records do
	// not speak for a straight gap error (design/2: 12 suffice for a bend, 8 do
	// not).
	leanLeast = 8
	bentLeast = 12
	// doubtful is the level of each test for a bend below which straightness
	// counts as open. A straight gap error goes on needlessly in one run of
	// three, which costs records; a bend that is missed costs the truth.
	doubtful = 0.05
	// returnAfter is after how many records since the zero place was gauged it is
	// gauged again at the end.
	returnAfter = 5
)

// Advice is what a gauging still wants.
type Advice struct {
	// Enough says that the largest u95 of the area is at most the target, that
	// nothing which was gauged speaks for a shape that is still open, and that
	// the zero place was gauged again at the end.
	Enough bool `json:"enough"`
	// Place is where one more record would help most; it is meaningless where
	// Found is false. Again says that it was gauged before.
	Place record.Place `json:"place"`
	Found bool         `json:"found"`
	Again bool         `json:"again"`
	// Told says that the records so far give a gap error that may be believed.
	Told bool `json:"told"`
	// Now is the largest u95 over the gauged area, After what one more record at
	// Place leaves of it, mm; both 0 where the gap error cannot be told yet, or where
	// the gauged area itself is too small.
	Now   float64 `json:"now"`
	After float64 `json:"after"`
	// Why says what is still open, in words; empty if Enough.
	Why string `json:"why"`
}

// Advise says whether the gaugings of the run are enough for a largest u95 of
// target mm, and at which of the places one more record would help most: where
// it lowers the largest u95 over the gauged area most (G-optimal; Atkinson,
// Donev, Tobias, Optimum Experimental Designs, 2007, ch. 10; from memory), the
// covariance averaged over the candidate models by their weights. Where
// something else is open first, it is answered first: a column that is missing,
// a zero place that does not fit, a hand that nobody knows.
//
// It is a pure function of the run and does not need its survey; with one, the
// survey's profile counts too.
func Advise(run record.Run, places []record.Place, target float64) Advice {
	s := steady(run)
	var prof *Profile
	if sv := takeSurvey(run, s); sv != nil {
		prof = sv.profile(s.sigma)
	}
	g := gauge(run, s, prof, nil)
	p := planner{gauged: g, run: run, places: places, target: target}
	return p.advise()
}

// planner is a gauging half way.
type planner struct {
	gauged
	run    record.Run
	places []record.Place
	target float64
}

func (p planner) advise() Advice {
	a := Advice{Why: p.open(), Told: p.gap != nil}
	g := p.trial()
	if g != nil {
		a.Now = g.worst(p.finely(g), nil)
		a.After = a.Now
	}
	if a.Why == "" {
		if at, why, ok := p.uncovered(); ok {
			return Advice{Why: why, Place: at, Found: true}
		}
	}
	a.Enough = a.Why == "" && !p.owed()
	if a.Place, a.Found = p.wanted(a.Why == ""); a.Found {
		if g != nil {
			a.After = g.worst(p.finely(g), &a.Place)
		}
	} else if g != nil {
		a.Place, a.After, a.Found = p.best(g)
	}
	a.Again = a.Found && p.times(a.Place) > 0
	return a
}

// best is the place that lowers the largest u95 most: of the corners of the
// gauged area while one was never gauged, since a twist shows there alone and the
// fit would foretell it; then of all.
func (p planner) best(g *Gap) (record.Place, float64, bool) {
	bare := func(q record.Place) bool { return p.times(q) == 0 && p.corner(q) }
	if at, after, ok := p.lowest(g, 1, bare); ok {
		return at, after, ok
	}
	return p.lowest(g, bentLeast-p.obs.records(), func(record.Place) bool { return true })
}

// trial is the gap error as the fit has it, whether it may be believed or not;
// nil where nothing was fitted.
func (p planner) trial() *Gap {
	if len(p.surface.members) == 0 {
		return nil
	}
	return &Gap{Zero: p.run.Setup.Zero, Area: p.obs.area(), surface: p.surface}
}

// wanted is the place that something asks for before all others: the return to
// the zero place before the first time that the records may be enough, and at
// the end; what keeps the fit from being believed, second records among it.
func (p planner) wanted(settled bool) (record.Place, bool) {
	n := p.obs.records()
	if p.owed() && (settled || n+1 >= leanLeast && p.times(p.run.Setup.Zero) < 2) {
		if at, ok := p.nearestOf(p.run.Setup.Zero); ok && at.Distance(p.run.Setup.Zero) < 1 {
			return at, true
		}
	}
	code := ""
	if p.why != nil {
		code = p.why.Code
	}
	switch code {
	case "zero-not-gauged", "zero-does-not-fit":
		return p.nearestOf(p.run.Setup.Zero)
	case "few-places", "does-not-fit":
		at, _ := p.nextPlace(p.run)
		return p.nearestOf(at)
	case "share-unclear":
		return p.nearestOf(record.Place{U: p.mostBend(), V: p.run.Setup.Zero.V})
	}
	if g := p.trial(); g != nil && code == "hand-or-shape" {
		at, _, ok := p.lowest(g, 1, func(q record.Place) bool { return p.times(q) == 1 })
		return at, ok
	}
	return record.Place{}, false
}

// corner reports whether q is a corner of the gauged rectangle.
func (p planner) corner(q record.Place) bool {
	r := p.obs.area()
	return (math.Abs(q.U-r.X0) < apart || math.Abs(q.U-r.X1) < apart) && (math.Abs(q.V-r.Y0) < apart || math.Abs(q.V-r.Y1) < apart)
}

// finely returns the places at which the largest u95 is looked for: what lies
// between two gauged columns is known worst, so they are close along X.
func (p planner) finely(g *Gap) []record.Place {
	var out []record.Place
	for j := range 3 {
		for i := range 13 {
			out = append(out, record.Place{U: g.Area.X0 + g.Area.W()*float64(i)/12, V: g.Area.Y0 + g.Area.H()*float64(j)/2})
		}
	}
	return out
}

// nearestOf is the place on offer that is nearest to at.
func (p planner) nearestOf(at record.Place) (record.Place, bool) {
	if len(p.places) == 0 {
		return record.Place{}, false
	}
	best := p.places[0]
	for _, q := range p.places[1:] {
		if q.Distance(at) < best.Distance(at) {
			best = q
		}
	}
	return best, true
}

// lowest is the place, of those that pass, that leaves least of the largest u95,
// with those that may follow it up to horizon records in view.
func (p planner) lowest(g *Gap, horizon int, pass func(record.Place) bool) (at record.Place, after float64, ok bool) {
	lattice := p.finely(g)
	var offers []record.Place
	for _, q := range p.places {
		if pass(q) {
			offers = append(offers, q)
		}
	}
	if len(offers) == 0 {
		return at, g.worst(lattice, nil), false
	}
	at = offers[g.outlook(offers, lattice).choose(max(1, horizon))[0]]
	return at, g.worst(lattice, &at), true
}
