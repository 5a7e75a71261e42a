package page

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/status"
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
	Fine bool
	// Worst says what the nozzle error is where it is largest.
	Worst   string
	Cards   []card
	Figures []figure
	Stats   []stat
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
	var a api.Analysis
	if v.Analysis, v.Why = got[api.Analysis](p, r)(p.desk.Analysis(run.ID)); v.Analysis != nil {
		a, v.Stats = *v.Analysis, stats(*v.Analysis)
	}
	v.Table, v.NoTable = got[api.Table](p, r)(p.desk.Table(run.ID))
	if t := v.Table; t != nil && t.Refused != nil && strings.HasPrefix(t.Refused.Code, "finding-") { // the finding is above
		t.Refused = &api.Error{Code: t.Refused.Code, Text: map[bool]string{true: "The readings do not show enough yet.", false: "Repair the printer first."}[t.Refused.Code == "finding-undetermined"]}
	}
	v.Earlier = p.earlier(run)
	v.For, v.Later = p.earlierOf(run), p.laterOf(run, v.Analysis)
	rec, has := p.record(run.ID)
	if has {
		v.Figures = slices.Concat(p.whyFigure(run.ID, rec, a), p.gapFigure(run.ID, rec, v.Table), profileFigure(a), mapFigure(rec), repeatFigure(rec), rowFigure(rec), baseFigure(rec))
	}
	v.Level = levelSentence(a.Level, rec.Setup.Criteria.Tolerance)
	v.Fine = len(a.Findings) > 0 && a.Findings[0].ID == "healthy"
	lowest := 0.0
	if i := slices.IndexFunc(v.Figures, func(f figure) bool { return f.Title == titleGap }); i >= 0 {
		lowest = v.Figures[i].lowest
	}
	v.Cards, v.Figures = cards(a.Findings, v.Figures)
	if a.Largest != nil && !v.Fine {
		v.Worst = worst(*a.Largest, lowest, rec.Setup.Criteria.Tolerance)
	}
	return v
}

// First is the verdict, nil without findings; Others are the further findings.
func (v resultsView) First() *card {
	if len(v.Cards) == 0 {
		return nil
	}
	return &v.Cards[0]
}

func (v resultsView) Others() []card { return v.Cards[min(1, len(v.Cards)):] }

// worst says what the largest nozzle error is, and what a first layer makes of it that
// tolerates so much, mm; 0: not known. lowest is the nozzle's lowest error, mm: where it digs
// in is never left unsaid.
func worst(m api.Measured, lowest, tolerance float64) string {
	does := " The first layer does not stick there."
	if m.Value < 0 {
		does = " It digs in there."
	} else if lowest < -max(half(m), tolerance) {
		does += tight(fmt.Sprintf(" Elsewhere it is %s and digs in.", say.Too(lowest)))
	}
	if math.Abs(m.Value) <= max(half(m), tolerance) {
		does = ""
	}
	return tight(fmt.Sprintf("At worst the nozzle is %s, known to %s.", say.Too(m.Value), say.PM(half(m)))) + does
}

// levelSentence says what the Z offset is worth, and whether that is worth
// setting it anew: a first layer bears tolerance, mm; 0: not known.
func levelSentence(m *api.Measured, tolerance float64) string {
	if m == nil {
		return ""
	}
	if math.Abs(m.Value) <= max(half(*m), tolerance-half(*m)) {
		return "Your Z offset is right."
	}
	way := "lower"
	if m.Value < 0 {
		way = "higher"
	}
	return tight(fmt.Sprintf("Set the Z offset %s %s first (known to %s).", say.MM(math.Abs(m.Value)), way, say.PM(half(*m))))
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
	add("largest nozzle error", a.Largest)
	if l := a.Level; l != nil && l.Value < 0 {
		low := *l
		low.Value, low.Lo95, low.Hi95 = -l.Value, -l.Hi95, -l.Lo95
		add("Z offset too low by", &low)
	} else {
		add("Z offset too high by", l)
	}
	if a.Model != nil {
		add("scatter of the readings (standard deviation)", a.Model.Scatter)
		for _, t := range a.Model.Terms {
			add(t.Name+", where it makes most", &t.At)
		}
	}
	return out
}

// correctionView is a correction before its approval, approved, or as it is in the printer.
type correctionView struct {
	Run    api.Run
	Stages []stage
	// Table is set until it is approved; Goes says what it does to the nozzle.
	Table   *api.Table
	Goes    string
	Figures []figure
	// Signed is set once it was approved, by Person.
	Signed  *api.SignedOff
	Person  string
	Applied api.Applied
	Busy    bool
	// Other: the correction is of another printer than the one at the port.
	Other bool
	// Offered is the latest run whose correction can be reviewed.
	Offered string
}

func (p *page) review(w http.ResponseWriter, r *http.Request) {
	p.showReview(w, r, r.PathValue("id"), nil, nil, "")
}

// showReview shows the correction of a run, perhaps with its approval.
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
	s := p.begin(r, "The correction")
	s.Here, s.Notice = "/run/"+id+"/review", notice
	rec, _ := p.record(id)
	s.View = correctionView{Run: run, Stages: p.stages(&run), Table: &t, Goes: goes(t), Figures: tableFigure(t, rec), Signed: signed, Person: person}
	p.show(w, r, "correction", s)
}

func (p *page) applied(w http.ResponseWriter, r *http.Request) { p.showApplied(w, r, nil) }

func (p *page) showApplied(w http.ResponseWriter, r *http.Request, notice *api.Error) {
	s := p.begin(r, "The correction")
	s.Here, s.Notice = "/applied", notice
	v := correctionView{Applied: p.desk.Applied(), Other: slices.ContainsFunc(s.Todo, func(t api.Todo) bool { return t.ID == status.TodoOther })}
	if run, err := p.desk.Run(v.Applied.Run); v.Applied.Run != "" && err == nil {
		v.Run, v.Stages = run, p.stages(&run)
	}
	if v.Busy = v.Applied.State == api.Writing || v.Applied.State == api.Verifying; v.Busy {
		s.Poll, s.Again = 1, 3
	}
	if runs, err := p.desk.Runs(); v.Applied.State == api.NoneApplied && err == nil && len(runs) > 0 {
		if t, err := p.desk.Table(runs[0].ID); err == nil && t.Digest != nil {
			v.Offered = runs[0].ID
		}
	}
	s.View = v
	p.show(w, r, "correction", s)
}
