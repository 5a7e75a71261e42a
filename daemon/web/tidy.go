package web

import (
	"slices"

	"abbed/daemon/api"
)

// tidy returns body with every list and map that is nil replaced by an empty
// one: the description promises lists, and null is not one.
func tidy(body any) any {
	switch b := body.(type) {
	case api.Printer:
		return tidyPrinter(b)
	case api.Run:
		return tidyRun(b)
	case []api.Run:
		return tidyRuns(b)
	case api.Analysis:
		return tidyAnalysis(b)
	case []api.Gap:
		return list(b)
	case api.Table:
		b.Nodes, b.Cautions = list(b.Nodes), list(b.Cautions)
		return b
	default:
		return body
	}
}

func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

func tidyPrinter(p api.Printer) api.Printer {
	p.Owed = list(p.Owed)
	if p.Identity == nil {
		p.Identity = map[string]string{}
	}
	if p.Steps == nil {
		p.Steps = map[string]api.Can{}
	}
	return p
}

func tidyRun(r api.Run) api.Run {
	r.Steps = list(r.Steps)
	if r.Place != nil {
		spot := *r.Place
		spot.Heights, spot.Ahead = list(spot.Heights), list(spot.Ahead)
		r.Place = &spot
	}
	return r
}

func tidyRuns(runs []api.Run) []api.Run {
	runs = list(slices.Clone(runs))
	for i := range runs {
		runs[i] = tidyRun(runs[i])
	}
	return runs
}

func tidyAnalysis(a api.Analysis) api.Analysis {
	a.Findings = list(a.Findings)
	a.Stability.SetAside = list(a.Stability.SetAside)
	if a.Profile != nil {
		p := *a.Profile
		p.X, p.Effect, p.U = list(p.X), list(p.Effect), list(p.U)
		p.Front, p.Back = list(p.Front), list(p.Back)
		a.Profile = &p
	}
	if a.Model != nil {
		m := *a.Model
		m.Terms, m.Outliers = list(m.Terms), list(m.Outliers)
		a.Model = &m
	}
	return a
}
