package page

import (
	"slices"

	"abbed/daemon/api"
)

// another is another run that a run has to do with.
type another struct {
	api.Run
	// Kept says that it is still there; else its id is all that is known.
	Kept bool
}

// of is the run with an id.
func (p *page) of(id string) another {
	was, err := p.desk.Run(id)
	was.ID = id
	return another{was, err == nil}
}

// earlierOf is the run that a later one gauged more for; nil for a run of its own.
func (p *page) earlierOf(run api.Run) *another {
	if run.For == "" {
		return nil
	}
	a := p.of(run.For)
	return &a
}

// listed is a run in a list of runs, with those that it has to do with.
type listed struct {
	api.Run
	Earlier *another
	Laters  []another
}

func (p *page) listed(runs []api.Run) []listed {
	out := make([]listed, len(runs))
	for i, r := range runs {
		out[i] = listed{Run: r, Earlier: p.earlierOf(r), Laters: p.others(r.Later)}
	}
	return out
}

func (p *page) others(ids []string) []another {
	var out []another
	for _, id := range ids {
		out = append(out, p.of(id))
	}
	return out
}

// gaugedLater is what became of the gaugings of a later run.
type gaugedLater struct {
	api.Later
	Kept bool
	Over bool
}

// laterOf are the later runs that were made for this one: what became of their
// gaugings, or where those stand that add nothing to it. One in which nothing was
// gauged is left out.
func (p *page) laterOf(run api.Run, a *api.Analysis) []gaugedLater {
	var out []gaugedLater
	if a != nil {
		for _, l := range a.Later {
			_, err := p.desk.Run(l.Run)
			out = append(out, gaugedLater{Later: l, Kept: err == nil, Over: true})
		}
	}
	for _, id := range run.Later {
		joined := slices.ContainsFunc(out, func(l gaugedLater) bool { return l.Run == id })
		if r, err := p.desk.Run(id); err == nil && !joined && (r.Gaugings > 0 || !r.State.Over()) {
			out = append(out, gaugedLater{Later: api.Later{Run: id, Began: r.Began, Text: r.Sentence}, Kept: true, Over: r.State.Over()})
		}
	}
	return out
}
