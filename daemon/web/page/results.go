package page

import (
	"fmt"
	"math"
	"net/http"
	"slices"

	"abbed/daemon/api"
)

// resultsView is what a run tells.
type resultsView struct {
	Run      api.Run
	Stages   []stage
	Analysis *api.Analysis
	// Why there is no analysis.
	Why     *api.Error
	Level   string
	Table   *api.Table
	NoTable *api.Error
	Cards   []card
	Figures []figure
	Stats   []stat
	// Layer and After say what it costs at the first layer, now and corrected.
	Layer, After string
}

// stat is a line of the statistics.
type stat struct {
	Name string
	M    api.Measured
}

func (p *page) results(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	run, err := p.desk.Run(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Findings")
	if !run.State.Over() {
		s.Events = "/api/v1/runs/" + id + "/events"
	}
	s.View = p.resultsOf(r, run)
	p.show(w, r, "results", s)
}

// resultsOf gathers what a run tells.
func (p *page) resultsOf(r *http.Request, run api.Run) resultsView {
	v := resultsView{Run: run, Stages: p.stages(&run)}
	a, err := p.desk.Analysis(run.ID)
	if err != nil {
		v.Why = p.refusal(r, err)
	} else {
		v.Analysis, v.Level, v.Stats = &a, levelSentence(a.Level), stats(a)
	}
	if t, err := p.desk.Table(run.ID); err != nil {
		v.NoTable = p.refusal(r, err)
	} else {
		v.Table = &t
	}
	rec, has := p.record(run.ID)
	if has {
		v.Figures = slices.Concat(p.whyFigure(run.ID, rec, a), p.gapFigure(run.ID, rec, v.Table), profileFigure(a), mapFigure(rec), repeatFigure(rec), rowFigure(rec), baseFigure(rec))
	}
	v.Cards, v.Figures = cards(a.Findings, v.Figures)
	v.Layer, v.After = layerSentences(p.desk.Printer().Layer, v.Analysis, v.Table, rec.Setup.Criteria.Tolerance)
	return v
}

// levelSentence says what the Z offset is worth.
func levelSentence(m *api.Measured) string {
	if m == nil {
		return ""
	}
	doubt := (m.Hi95 - m.Lo95) / 2
	if math.Abs(m.Value) <= doubt {
		return fmt.Sprintf("Your Z offset is right as far as can be told: %s, doubt \u00b1%s.", plus(m.Value), mm(doubt))
	}
	way := "high"
	if m.Value < 0 {
		way = "low"
	}
	return fmt.Sprintf("Your Z offset is %s too %s, doubt \u00b1%s. Set it first; the correction table does not change it.", mm(math.Abs(m.Value)), way, mm(doubt))
}

// stats lists the measured values of an analysis; what was not measured is not
// there.
func stats(a api.Analysis) []stat {
	var out []stat
	add := func(name string, m *api.Measured) {
		if m != nil {
			out = append(out, stat{name, *m})
		}
	}
	s := a.Stability
	add("scatter of the probe (standard deviation)", s.Scatter)
	add("first touch against the others", s.FirstTouch)
	add("drift", s.DriftRate)
	add("play along X (by side of approach)", s.PlayX)
	add("play along Y (by side of approach)", s.PlayY)
	add("wandering between passes (standard deviation)", s.Wander)
	add("share of lever error in the map's shape", a.Share)
	add("largest gap error", a.Largest)
	add("Z offset too high by", a.Level)
	if a.Model != nil {
		add("scatter of the gauging (standard deviation)", a.Model.Scatter)
		for _, t := range a.Model.Terms {
			add("term "+t.Name, &t.At)
		}
	}
	return out
}

// reviewView is a table before its sign-off.
type reviewView struct {
	Run     api.Run
	Stages  []stage
	Table   api.Table
	Figures []figure
	Applied api.Applied
	// Signed is set once it was signed off, by Person.
	Signed *api.SignedOff
	Person string
}

func (p *page) review(w http.ResponseWriter, r *http.Request) {
	p.showReview(w, r, r.PathValue("id"), nil, nil, "")
}

// showReview shows the table of a run, perhaps with its sign-off.
func (p *page) showReview(w http.ResponseWriter, r *http.Request, id string, notice *api.Error, signed *api.SignedOff, person string) {
	run, err := p.desk.Run(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	t, err := p.desk.Table(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Review the correction")
	s.Here, s.Notice = "/run/"+id+"/review", notice
	v := reviewView{Run: run, Stages: p.stages(&run), Table: t, Applied: p.desk.Applied(), Signed: signed, Person: person}
	for i := range v.Stages {
		switch {
		case i < decide && v.Stages[i].State == "now":
			v.Stages[i].State = "done"
		case i == decide && v.Stages[i].State == "todo":
			v.Stages[i].State = "now"
		}
	}
	rec, _ := p.record(id)
	v.Figures = tableFigure(t, rec)
	s.View = v
	p.show(w, r, "review", s)
}

// appliedView is what stands in the printer.
type appliedView struct {
	Applied api.Applied
	Busy    bool
}

func (p *page) applied(w http.ResponseWriter, r *http.Request) { p.showApplied(w, r, nil) }

func (p *page) showApplied(w http.ResponseWriter, r *http.Request, notice *api.Error) {
	s := p.begin(r, "What stands in the printer")
	s.Here, s.Notice = "/applied", notice
	v := appliedView{Applied: p.desk.Applied()}
	v.Busy = v.Applied.State == api.Writing || v.Applied.State == api.Verifying
	if v.Busy {
		s.Poll, s.Again = 1, 3
	}
	s.View = v
	p.show(w, r, "applied", s)
}
