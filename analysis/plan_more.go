package analysis

import "abbed/probe/record"

// TargetU95 is the largest u95 in the gauged area that is worth asking a person for
// more records, mm: two thirds of what a first layer bears (design value).
const TargetU95 = 0.020

// More returns where one more gauging would help a run that has been judged, now
// that its survey is there: the profile that it shows may ask for another place
// than was gauged. It is false where nothing was gauged, where the machine does
// not do the same twice (no gauging helps then), and where what is there is
// enough.
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
