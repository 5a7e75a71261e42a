package page

import (
	"fmt"
	"math"
	"net/http"
	"slices"

	"abbed/config/say"
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
	// Fine: there is nothing to decide.
	Fine    bool
	Cards   []card
	Figures []figure
	Stats   []stat
	// Layer and After say what it costs at the first layer, now and corrected.
	// Now the same as Layer in a few words.
	Layer, After, Now string
	// Earlier are runs to compare this one with.
	Earlier []api.Run
	// For is the run that this one gauged more for, nil for a run of its own; Later
	// are those that gauged more for this one.
	For   *another
	Later []gaugedLater
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
	if run.State.Over() && run.Proves() {
		http.Redirect(w, r, "/run/"+id, http.StatusSeeOther)
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
		v.Analysis, v.Stats = &a, stats(a)
	}
	if t, err := p.desk.Table(run.ID); err != nil {
		v.NoTable = p.refusal(r, err)
	} else {
		v.Table = &t
	}
	v.Earlier = p.earlier(run)
	v.For, v.Later = p.earlierOf(run), p.laterOf(run, v.Analysis)
	rec, has := p.record(run.ID)
	if has {
		v.Figures = slices.Concat(p.whyFigure(run.ID, rec, a), p.gapFigure(run.ID, rec, v.Table), profileFigure(a), mapFigure(rec), repeatFigure(rec), rowFigure(rec), baseFigure(rec))
	}
	v.Level = levelSentence(a.Level, rec.Setup.Criteria.Tolerance)
	v.Fine = len(a.Findings) > 0 && a.Findings[0].ID == "healthy"
	v.Cards, v.Figures = cards(a.Findings, v.Figures)
	v.Layer, v.Now, v.After = layerSentences(p.desk.Printer().Layer, v.Analysis, v.Table, rec.Setup.Criteria.Tolerance)
	return v
}

// levelSentence says what the Z offset is worth, and whether that is worth
// setting it anew: a first layer bears tolerance, mm; 0: not known.
func levelSentence(m *api.Measured, tolerance float64) string {
	if m == nil {
		return ""
	}
	doubt := half(*m)
	if math.Abs(m.Value) <= doubt {
		return fmt.Sprintf("Your Z offset is right, known to %s.", pm(doubt))
	}
	says := fmt.Sprintf("Your Z offset is %s, known to %s.", tight(say.Too(m.Value)), pm(doubt))
	if math.Abs(m.Value)+doubt <= tolerance {
		return says + " A first layer bears that: leave it."
	}
	return says + " Set it first; the correction does not change it."
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
			add(t.Name+", where it makes most", &t.At)
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
	here := decide
	if signed != nil {
		here = apply
	}
	v.Stages = reached(v.Stages, here)
	rec, _ := p.record(id)
	v.Figures = tableFigure(t, rec)
	s.View = v
	p.show(w, r, "review", s)
}

// reached moves the stage in hand on to here, if it was before it.
func reached(all []stage, here int) []stage {
	for i := range all {
		switch {
		case i < here && (all[i].State == "now" || i > findings && all[i].State == "todo"):
			all[i].State = "done"
		case i == here && all[i].State == "todo":
			all[i].State = "now"
		}
	}
	return all
}

// appliedView is what stands in the printer.
type appliedView struct {
	Applied api.Applied
	// Stages are those of the run that the correction came from; nil if it is
	// not known any more.
	Stages []stage
	Busy   bool
}

func (p *page) applied(w http.ResponseWriter, r *http.Request) { p.showApplied(w, r, nil) }

func (p *page) showApplied(w http.ResponseWriter, r *http.Request, notice *api.Error) {
	s := p.begin(r, "What stands in the printer")
	s.Here, s.Notice = "/applied", notice
	v := appliedView{Applied: p.desk.Applied()}
	if run, err := p.desk.Run(v.Applied.Run); v.Applied.Run != "" && err == nil {
		v.Stages = p.stages(&run)
		if v.Applied.State != api.Kept {
			v.Stages = reached(v.Stages, apply)
		}
	}
	v.Busy = v.Applied.State == api.Writing || v.Applied.State == api.Verifying
	if v.Busy {
		s.Poll, s.Again = 1, 3
	}
	s.View = v
	p.show(w, r, "applied", s)
}
