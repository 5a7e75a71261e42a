package page

import (
	"time"

	"abbed/daemon/api"
)

// another is another run that a run has to do with.
type another struct {
	ID    string
	Began time.Time
	// Kept says that it is still there.
	Kept bool
}

// earlierOf is the run that a later one gauged more for; nil for a run of its own.
func (p *page) earlierOf(run api.Run) *another {
	if run.For == "" {
		return nil
	}
	was, err := p.desk.Run(run.For)
	return &another{ID: run.For, Began: was.Began, Kept: err == nil}
}

// gaugedLater is what became of the gaugings of a later run.
type gaugedLater struct {
	api.Later
	Kept bool
}

// laterOf are the later runs that were made for this one.
func (p *page) laterOf(a *api.Analysis) []gaugedLater {
	if a == nil {
		return nil
	}
	var out []gaugedLater
	for _, l := range a.Later {
		_, err := p.desk.Run(l.Run)
		out = append(out, gaugedLater{l, err == nil})
	}
	return out
}
