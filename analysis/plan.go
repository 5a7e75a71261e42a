package analysis

import (
	"fmt"
	"math"

	"abbed/analysis/model"
	"abbed/analysis/result"
	"abbed/analysis/steady"
	"abbed/config/say"
	"abbed/probe/record"
)

// TargetU95 is the largest u95 in the gauged area that is worth asking a person for
// more records, mm: two thirds of what a first layer bears (design value).
const TargetU95 = 0.020

// Constants of a gauging that is planned as it goes.
const (
	// leanLeast records are made before the question whether they are enough is
	// asked at all.
	leanLeast = 8
	// ahead is how many records are looked ahead, leanMost how many a person is hoped to
	// need in all.
	ahead    = 4
	leanMost = 12
	// returnAfter is after how many records since the zero place was gauged it is
	// gauged again at the end.
	returnAfter = 5
)

// Advice is what a gauging still wants.
type Advice struct {
	// Enough says that the largest u95 of the area is at most the target, that
	// nothing keeps the gap error from being believed, and that the zero place was
	// gauged again at the end.
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
// it lowers the largest variance over the gauged area most (model.Outlook). Where
// something else is open first, it is answered first: a map that is not reached, a
// zero place that does not fit.
//
// It is a pure function of the run and does not need its survey; with one, the map
// counts too.
func Advise(run record.Run, places []record.Place, target float64) Advice {
	run = steady.Clean(run)
	s := steady.Judge(run)
	sv := steady.TakeSurvey(run, s)
	var prof *steady.Profile
	if sv != nil {
		prof = sv.Profile(s.Sigma)
	}
	p := planner{gauged: gauge(run, s, sv, prof, look(run, s, sv)), places: places, target: target}
	return p.advise()
}

// More returns where one more gauging would help a run that has been judged, now
// that its survey is there: the map may ask for another place than was gauged. It is
// false where nothing was gauged, where the machine does not do the same twice (no
// gauging helps then), and where what is there is enough.
func (v Verdict) More(run record.Run) (Advice, bool) {
	return v.MoreAt(run, reachable(run), TargetU95)
}

// MoreAt is More for the places that may be gauged now, and for a largest u95 of
// target mm. Where that is reached and yet the tolerance is not decided, more
// records are still what decides it.
func (v Verdict) MoreAt(run record.Run, places []record.Place, target float64) (Advice, bool) {
	if _, failed := v.Stability.Failed(); failed || run.Setup.NoLever() || len(run.Gaugings) == 0 || !run.Setup.Reach.Valid() {
		return Advice{}, false
	}
	a := Advise(run, places, target)
	if a.Why == "" {
		a.Why = v.undecided
	}
	if a.Why == "" || !a.Found {
		return Advice{}, false
	}
	return a, true
}

// reachable are places to gauge all over the reach, and those that were gauged.
func reachable(run record.Run) []record.Place {
	r := run.Setup.Reach
	if !r.Valid() {
		return nil
	}
	in := r.Grown(-min(8, r.W()/4, r.H()/4))
	out := []record.Place{run.Setup.Zero}
	for _, g := range run.Gaugings {
		out = append(out, g.Place)
	}
	for j := range 3 {
		for i := range 9 {
			out = append(out, record.Place{U: in.X0 + in.W()*float64(i)/8, V: in.Y0 + in.H()*float64(j)/2})
		}
	}
	return out
}

// planner is a gauging half way.
type planner struct {
	gauged
	places []record.Place
	target float64
}

func (p planner) advise() Advice {
	a := Advice{Why: p.open(), Told: p.gap != nil}
	if p.run.Setup.NoLever() {
		a.Enough = true
		return a
	}
	if at, why, ok := p.uncovered(); ok {
		return Advice{Why: why, Place: at, Found: true}
	}
	a.Enough = a.Why == "" && !p.owed()
	at, now, after, ok := p.next(p.places)
	if forced, want := p.wanted(a.Why == ""); want {
		at, ok = forced, true
		_, now, after, _ = p.next([]record.Place{forced})
	}
	a.Place, a.Now, a.After, a.Found = at, now, after, ok
	a.Again = a.Found && p.timesAt(a.Place) > 0
	return a
}

// next is the place, of those offered, at which one more record lowers the largest u95
// over the gauged area most, with the u95 now and after, mm.
func (g *gauged) next(offers []record.Place) (at record.Place, now, after float64, ok bool) {
	if g.surface.post == nil {
		return at, 0, 0, false
	}
	o := g.outlook(offers)
	now = result.Z95 * math.Sqrt(o.Largest())
	k := o.Best(max(1, min(ahead, leanMost-g.records())))
	if k < 0 {
		return at, now, now, false
	}
	return offers[k], now, result.Z95 * math.Sqrt(o.After(k)), true
}

// outlook looks at the gauged area: what lies between two gauged columns is known worst,
// so that the places are close along X.
func (g *gauged) outlook(offers []record.Place) *model.Outlook {
	a, zero := g.area(), g.surface.row(g.run.Setup.Zero)
	var shown, offered []model.Row
	for _, p := range Lattice(a, 13, 5) {
		shown = append(shown, g.surface.row(p).Minus(zero))
	}
	u := 0.0
	for _, p := range g.pairs {
		u += math.Hypot(p.U, p.StepU) / float64(len(g.pairs))
	}
	for _, q := range offers {
		offered = append(offered, g.surface.row(q))
	}
	return g.surface.post.Outlook(shown, offered, 0, u)
}

// open says what is not settled yet; empty if nothing.
func (p planner) open() string {
	n := p.records()
	switch {
	case p.run.Setup.NoLever():
		return ""
	case p.why != nil:
		return p.why.Text
	case n < leanLeast:
		return fmt.Sprintf("%d readings are too few to show a bend", n)
	}
	if _, is := p.beside(); is {
		return fmt.Sprintf("The reading at %s does not fit, and no point beside it says why", p.model.doubtful()[0])
	}
	if u := p.gap.Largest().MostDoubt; math.Round(1000*u) > math.Round(1000*p.target) { // to the um, as it is said
		return fmt.Sprintf("somewhere the nozzle error is known to ±%s only, and ±%s is wanted", say.Fine(u), say.Fine(p.target))
	}
	return ""
}

// wanted is the place that something asks for before all others: the return to the
// zero place before the first time that the records may be enough, and at the end; a
// zero place that was not gauged or does not fit; a place beside a doubtful one.
func (p planner) wanted(settled bool) (record.Place, bool) {
	zero := p.run.Setup.Zero
	at, ok := p.nearestOf(zero)
	if p.owed() && (settled || p.records()+1 >= leanLeast && p.timesAt(zero) < 2) && ok && at.Distance(zero) < 1 {
		return at, true
	}
	if p.why != nil && (p.why.Code == "zero-not-gauged" || p.why.Code == "zero-does-not-fit") {
		return at, ok
	}
	return p.beside()
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

// owed reports whether the zero place is to be gauged again: it was not among
// the last records.
//
// What drifts within this run a later one cannot tell any more.
func (p planner) owed() bool {
	ps := p.pairs
	if p.records() > len(ps) {
		return false
	}
	for _, q := range ps[max(min(1, len(ps)), len(ps)-returnAfter):] {
		if q.Place.Distance(p.run.Setup.Zero) < 1 {
			return false
		}
	}
	return true
}

// timesAt is how many records stand at the place.
func (g *gauged) timesAt(at record.Place) int {
	n := 0
	for _, q := range g.gaugedAt() {
		if q.Distance(at) < 1 {
			n++
		}
	}
	return n
}
