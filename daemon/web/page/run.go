package page

import (
	"net/http"
	"slices"
	"strings"

	"abbed/daemon/api"
	"abbed/probe/record"
)

// runView is the run in hand.
type runView struct {
	Run    api.Run
	Stages []stage
	Now    stage
	// Blade asks for the blade's thickness when the run is confirmed.
	Blade bool
	Gauge *gaugeView
	// Told is what a run that is over found first, Then what its own sentence adds
	// to that; "" if nothing.
	Told, Then string
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
	s := p.begin(r, "Run of "+stamp(run.Began))
	s.Here, s.Notice = "/run/"+id, notice
	if !run.State.Over() {
		s.Events = "/api/v1/runs/" + id + "/events"
	}
	if run.State == api.Running {
		s.Again = 5
	}
	rec, has := p.record(id)
	v := runView{Run: run, Stages: p.stages(&run), Blade: slices.Contains(run.Steps, "gauging") || run.Proves(), Heat: p.desk.Printer().Temperatures}
	for _, st := range v.Stages {
		if st.State == "now" {
			v.Now = st
		}
	}
	v.For = p.earlierOf(run)
	if a, err := p.desk.Analysis(id); v.For == nil && !run.Proves() && run.State == api.Done && err == nil && len(a.Findings) > 0 {
		v.Told = micrometres(a.Findings[0].Sentence)
		v.Then = strings.TrimSpace(strings.TrimPrefix(micrometres(run.Sentence), v.Told))
	}
	if run.Place != nil {
		v.Gauge = gaugeOf(run, rec)
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

// gaugeView is the person's place at the blade.
type gaugeView struct {
	Spot api.Spot
	Plan svg
	// Next is the place after this one, "" for the last.
	Next string
	// Ladder shows nozzle, blade, bed and floor.
	Ladder svg
	Spread string
	// Records so far and wanted in the whole plan.
	Number int
}

func gaugeOf(run api.Run, rec record.Run) *gaugeView {
	spot := *run.Place
	g := &gaugeView{Spot: spot, Number: spot.Index + 1}
	if len(spot.Heights) > 1 {
		g.Spread = mm(slices.Max(spot.Heights) - slices.Min(spot.Heights))
	}
	if len(spot.Ahead) > 0 {
		g.Next = place(spot.Ahead[0][0], spot.Ahead[0][1])
	}
	g.Plan, g.Ladder = planOf(run, rec), ladderOf(spot)
	return g
}
