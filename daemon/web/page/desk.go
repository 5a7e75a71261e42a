package page

import (
	"net/url"
	"strings"

	"abbed/daemon/api"
)

// measuresOf reads what a person has measured of the machine, as typed; the desk works
// out shim, rail and turns by it.
func measuresOf(q url.Values) (a api.AskRepair, bad *api.Error) {
	for _, l := range []struct {
		name string
		into *float64
	}{{"mounting", &a.Mounting}, {"spacing", &a.Spacing}, {"width", &a.Width}, {"height", &a.Height}, {"rails", &a.Rails}, {"pitch", &a.Pitch}} {
		v, err := decimal(q.Get(l.name))
		if err != nil {
			return api.AskRepair{}, err
		}
		if v != nil {
			*l.into = *v
		}
	}
	if a.Supports, bad = api.ReadPlaces(strings.TrimSpace(q.Get("supports"))); bad != nil {
		return api.AskRepair{}, bad
	}
	return a, nil
}

// mended is what a run says after one with which it can be compared.
type mended struct {
	Was   api.Run
	Says  string
	Worse bool // findings came that were not there before
}

// mendedSince compares a run with the one before it.
func (p *page) mendedSince(run api.Run) (out []mended) {
	for _, was := range p.earlier(run) {
		c, err := p.desk.Compare(was.ID, run.ID)
		if err != nil {
			continue
		}
		out = append(out, mended{was, c.Sentence, len(c.Come) > 0})
	}
	return out
}
