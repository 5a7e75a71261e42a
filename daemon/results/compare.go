package results

import (
	"math"

	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// Compare says what changed from one run to a later one.
func (s *Shelf) Compare(before, after string) (api.Comparison, error) {
	a, err := s.Judged(before)
	if err != nil {
		return api.Comparison{}, err
	}
	b, err := s.Judged(after)
	if err != nil {
		return api.Comparison{}, err
	}
	return Compared(a, b)
}

// Compared compares two runs in the words of the API.
func Compared(before, after analysis.Judged) (api.Comparison, error) {
	c, why := compare.Compare(before, after)
	if why != nil {
		return api.Comparison{}, api.Errorf(409, why.Code, why.Hint, "compare: %s", why.Text)
	}
	out := api.Comparison{Before: c.Before, After: c.After, Sentence: c.Sentence, Not: c.Not, Gone: c.Gone, Stay: c.Stay, Come: c.Come,
		Changes:       []api.Change{},
		LargestBefore: c.LargestBefore, LargestAfter: c.LargestAfter, LeftBefore: c.LeftBefore, LeftAfter: c.LeftAfter, Most: c.Most, Heat: c.Heat}
	for _, x := range c.Changes {
		out.Changes = append(out.Changes, *change(x))
	}
	return out, nil
}

// change turns a change into the API's words: angles along a way in deg per m.
func change(c compare.Change) *api.Change {
	return &api.Change{What: c.What, Says: c.Says, Before: *inDegrees(&c.Before), After: *inDegrees(&c.After), By: *inDegrees(&c.By), Ratio: c.Ratio, Beyond: c.Beyond, Sentence: c.Sentence()}
}

// inDegrees turns rad per mm into deg per m, and leaves what is in another unit.
func inDegrees(m *analysis.Measured) *api.Measured {
	out := measured(m)
	if out == nil {
		return &api.Measured{Unit: m.Unit}
	}
	if out.Unit == "rad/mm" {
		const k = 1000 * 180 / math.Pi
		out.Value, out.U, out.Lo95, out.Hi95, out.Unit = k*out.Value, k*out.U, k*out.Lo95, k*out.Hi95, "deg/m"
	}
	return out
}

// Levers foretells the gap error with the probe mounted elsewhere.
func (s *Shelf) Levers(id string, a api.AskLevers) (api.Levers, error) {
	j, err := s.Judged(id)
	if err != nil {
		return api.Levers{}, err
	}
	return Foretold(j.Run, j.Verdict, a), nil
}

// Foretold foretells other levers in the words of the API.
func Foretold(run record.Run, v analysis.Verdict, a api.AskLevers) api.Levers {
	within := record.Rect{X0: 1, X1: -1}
	if a.Within != nil {
		within = *a.Within
	}
	p := v.Placement(run, within)
	out := api.Levers{Now: lever(p.Now), Levers: []api.Lever{}, Least: p.Least, Sentence: p.Sentence}
	for _, q := range a.Levers {
		out.Levers = append(out.Levers, lever(v.Elsewhere(run, record.Lever{X: q.X, Y: q.Y})))
	}
	if p.Best != nil {
		b := lever(*p.Best)
		out.Best = &b
	}
	if !math.IsNaN(p.Longest) {
		out.Longest = &p.Longest
	}
	return out
}

func lever(e analysis.Elsewhere) api.Lever {
	out := api.Lever{Lever: api.XY{X: e.Lever.X, Y: e.Lever.Y}, Note: e.Note(), Refused: e.Why}
	if e.Why != nil {
		return out
	}
	out.Largest = &e.Largest
	out.Covers = &e.Covers
	return out
}

// wedge is the five-minute answer of a run without a survey; nil if it gives none.
func wedge(run record.Run, v analysis.Verdict) *api.Wedge {
	if run.Asked(record.StepSurvey) || len(run.Gaugings) == 0 {
		return nil
	}
	w, _ := v.Wedge(run) // why there is none says the finding
	return w
}
