package page

import (
	"fmt"
	"net/http"
	"slices"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/web/picture"
)

// runs is the screen of all runs, and of what they tell of the head over time.
func (p *page) runs(w http.ResponseWriter, r *http.Request) {
	runs, err := p.desk.Runs()
	if err != nil {
		p.refused(w, r, err)
		return
	}
	h, err := p.desk.History()
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Runs")
	v := runsView{Runs: p.listed(runs), Figures: courses(h), Sentence: h.Sentence}
	for _, e := range slices.Backward(h.Runs) {
		v.Newest = append(v.Newest, entry{e, p.others(e.Later)})
	}
	s.View = v
	p.show(w, r, "runs", s)
}

type runsView struct {
	Runs     []listed
	Sentence string
	// Newest are the runs, the newest first.
	Newest  []entry
	Figures []figure
}

// entry is a run in the history, with those that gauged more for it.
type entry struct {
	api.Entry
	Laters []another
}

// courses draws the angle that the runs tell, if two of them do.
func courses(h api.History) []figure {
	var out []figure
	for _, q := range []struct {
		title, name string
		of          func(api.Entry) *api.Measured
	}{
		{"The twist over time", "twist", func(e api.Entry) *api.Measured { return e.Twist }},
		{"The pitch over time", "pitch", func(e api.Entry) *api.Measured { return e.Pitch }},
	} {
		c := picture.Course{Quantity: q.name + ", ° per m"}
		moved := 0
		for _, e := range h.Runs {
			m := q.of(e)
			if m == nil {
				continue
			}
			is := e.Change != nil && e.Change.Beyond && e.Change.What == q.name
			if is {
				moved++
			}
			c.Name, c.Value = append(c.Name, say.Moment(e.Began)), append(c.Value, m.Value)
			c.Half, c.Moved = append(c.Half, (m.Hi95-m.Lo95)/2), append(c.Moved, is)
		}
		if len(c.Name) < 2 {
			continue
		}
		last := len(c.Name) - 1
		c.Alt = fmt.Sprintf("The %s in %d runs. In the latest %s ±%s °/m. It changed %d times.", q.name, len(c.Name), say.Fixed(c.Value[last], 2), say.Fixed(c.Half[last], 2), moved)
		out = append(out, figure{Title: q.title, SVG: c.SVG(), Says: c.Alt + " Bars are 95 % intervals."})
	}
	return out
}

// since is the screen of what changed between two runs.
func (p *page) since(w http.ResponseWriter, r *http.Request) {
	c, err := p.desk.Compare(r.PathValue("earlier"), r.PathValue("id"))
	if err != nil {
		p.refused(w, r, err)
		return
	}
	before, err := p.desk.Run(r.PathValue("earlier"))
	if err != nil {
		p.refused(w, r, err)
		return
	}
	after, err := p.desk.Run(r.PathValue("id"))
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Before and after")
	s.View = sinceView{Comparison: c, Was: before, Is: after}
	p.show(w, r, "since", s)
}

type sinceView struct {
	api.Comparison
	Was, Is api.Run
}

// elsewhere is the screen that predicts the nozzle error with another lever.
func (p *page) elsewhere(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	run, err := p.desk.Run(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Another position of the probe")
	v := elsewhereView{Run: run, X: r.URL.Query().Get("x"), Y: r.URL.Query().Get("y")}
	ask := api.AskLevers{}
	if v.X != "" || v.Y != "" {
		x, badX := decimal(v.X)
		y, badY := decimal(v.Y)
		switch {
		case badX != nil:
			s.Notice = badX
		case badY != nil:
			s.Notice = badY
		case x == nil || y == nil:
			s.Notice = api.Errorf(http.StatusUnprocessableEntity, "bad-value", "give X and Y, in mm from the nozzle", "a probe offset is two lengths")
		default:
			ask.Levers = []api.XY{{X: *x, Y: *y}}
		}
	}
	if v.Levers, err = p.desk.Levers(id, ask); err != nil {
		p.refused(w, r, err)
		return
	}
	s.View = v
	p.show(w, r, "elsewhere", s)
}

type elsewhereView struct {
	Run    api.Run
	Levers api.Levers
	X, Y   string // as typed
}

// earlier lists the runs with which one can be compared: over, of the same
// printer as far as the daemon finds out, and before it.
func (p *page) earlier(run api.Run) []api.Run {
	runs, err := p.desk.Runs()
	if err != nil {
		return nil
	}
	var out []api.Run
	for _, r := range runs {
		if r.State == api.Done && r.Began.Before(run.Began) && r.Touches > 0 {
			out = append(out, r)
		}
	}
	return out[:min(len(out), 5)]
}
