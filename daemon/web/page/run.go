package page

import (
	"math"
	"net/http"
	"slices"
	"strings"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// runView is the run in hand.
type runView struct {
	Run    api.Run
	Stages []stage
	// Gauges asks for the gauge's thickness when the run is confirmed; Thickness and
	// Paper are those of the run before.
	Gauges    bool
	Thickness string
	Paper     bool
	// Waits: for the person. AtGauge: the run is at the feeler gauge, or between two points.
	Waits, AtGauge bool
	// Number of the point in hand, and of the reading that comes next there.
	Number, Reading int
	Plan            svg
	// Warming is how far the heaters are, while the run waits for them.
	Warming []warm
	// Goes is what goes on without the person.
	Goes string
	// Gained is what the run is worth; "" if nothing is known by it.
	Gained string
	// Told is what a run that is over found first.
	Told string
	// Heat is the temperatures as last heard, nil if never.
	Heat *api.Temperatures
	// Pictures of what came in so far.
	Pictures []figure
	// For is the run that this one gauges more for, nil for a run of its own.
	For *another
}

func (p *page) run(w http.ResponseWriter, r *http.Request) { p.showRun(w, r, r.PathValue("id"), nil) }

// showRun shows a run; notice is a refusal of what was just asked.
func (p *page) showRun(w http.ResponseWriter, r *http.Request, id string, notice *api.Error) {
	run, err := p.desk.Run(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Run of "+say.Moment(run.Began))
	s.Here, s.Notice = "/run/"+id, notice
	if !run.State.Over() {
		s.Events = "/api/v1/runs/" + id + "/events"
	}
	if run.State == api.Running {
		s.Again = 5
	}
	rec, has := p.record(id)
	v := runView{Run: run, Stages: p.stages(&run), Gauges: slices.Contains(run.Steps, "gauging") || run.Proves(), Heat: p.desk.Printer().Temperatures}
	if v.Gauges && run.State == api.AwaitingConfirmation {
		v.Thickness, v.Paper = p.gauge()
	}
	v.For = p.earlierOf(run)
	if a, err := p.desk.Analysis(id); v.For == nil && !run.Proves() && run.State == api.Done && err == nil && len(a.Findings) > 0 {
		v.Told = tight(a.Findings[0].Sentence)
		t, _ := p.desk.Table(id)
		v.Gained = gained(a, t)
	}
	v.Waits = run.State == api.AwaitingGauge || run.State == api.AwaitingNext || run.State == api.AwaitingPerson
	v.AtGauge = atGauge(run)
	s.AtGauge, s.Awake = v.AtGauge, !run.State.Over() && run.State != api.AwaitingConfirmation && !run.Unwatched
	v.Goes = strings.TrimSpace(strings.ReplaceAll(run.Sentence, "You can go now.", ""))
	if run.Unwatched {
		v.Run.Progress.ETA = nil // what is left of all steps is said
	}
	if at := run.Place; at != nil {
		v.Number, v.Reading, v.Plan = at.Index+1, min(at.Records+1, at.Wanted), planOf(run, rec)
	}
	if run.Step == "prepare" {
		v.Warming = warming(v.Heat)
	}
	if has {
		v.Pictures = live(run, rec)
	}
	s.View = v
	p.show(w, r, "run", s)
}

// live are the pictures worth watching in the step in hand.
func live(run api.Run, rec record.Run) []figure {
	switch run.Step {
	case "repeat":
		return slices.Concat(repeatFigure(rec), rowFigure(rec))
	case "gauging":
		return nil // the plan stands in the gauging itself
	case "survey", "analysis":
		return slices.Concat(mapFigure(rec), baseFigure(rec))
	}
	return nil
}

// atGauge reports whether a thumb belongs at the lower edge: the gauge is under the
// nozzle, or was and will be again.
func atGauge(run api.Run) bool {
	return run.Place != nil || run.State == api.Running && (run.Step == "gauging" || run.Step == "prove")
}

// warm is how far a heater is, degrees C.
type warm struct {
	Name      string
	Now, Want float64
}

func warming(t *api.Temperatures) (out []warm) {
	if t == nil {
		return nil
	}
	for _, w := range []warm{{"Nozzle", t.Nozzle, t.NozzleTarget}, {"Bed", t.Bed, t.BedTarget}} {
		if w.Want > 0 {
			out = append(out, w)
		}
	}
	return out
}

// Warnings stand beside the cautions.
func (runView) Warnings() []string { return api.Warnings }

// gained says in one sentence what a run is worth.
func gained(a api.Analysis, t api.Table) string {
	switch {
	case a.Largest == nil:
		return ""
	case t.Digest != nil:
		return "A correction takes the nozzle error from " + mm(math.Abs(a.Largest.Value)) + " to within " + pm(t.LargestU95) + "."
	}
	return "The nozzle error is at most " + mm(math.Abs(a.Largest.Value)) + ", known to " + pm(half(*a.Largest)) + "."
}

// gauge is the gauge of the run before: its thickness, mm, and whether it was paper.
func (p *page) gauge() (thickness string, paper bool) {
	runs, _ := p.desk.Runs()
	for _, r := range runs {
		if r.Gaugings == 0 {
			continue
		}
		if rec, ok := p.record(r.ID); ok && rec.Confirmed != nil && rec.Confirmed.Blade > 0 {
			return say.Fixed(rec.Confirmed.Blade, 2), rec.Confirmed.Paper
		}
	}
	return "0.10", false
}
