package page

import (
	"net/url"
	"strings"

	"abbed/daemon/api"
)

// measures is what a person has measured of the machine, as typed; the desk works
// out shim, rail and turns by it.
type measures struct {
	Mounting, Spacing, Width, Height, Rails, Supports, Pitch string
}

// measuresOf reads the form of the desk.
func measuresOf(q url.Values) (m measures, a api.AskRepair, bad *api.Error) {
	m = measures{q.Get("mounting"), q.Get("spacing"), q.Get("width"), q.Get("height"), q.Get("rails"), strings.TrimSpace(q.Get("supports")), q.Get("pitch")}
	for _, l := range []struct {
		text string
		into *float64
	}{{m.Mounting, &a.Mounting}, {m.Spacing, &a.Spacing}, {m.Width, &a.Width}, {m.Height, &a.Height}, {m.Rails, &a.Rails}, {m.Pitch, &a.Pitch}} {
		v, err := decimal(l.text)
		if err != nil {
			return m, api.AskRepair{}, err
		}
		if v != nil {
			*l.into = *v
		}
	}
	if a.Supports, bad = api.ReadPlaces(m.Supports); bad != nil {
		return m, api.AskRepair{}, bad
	}
	return m, a, nil
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
