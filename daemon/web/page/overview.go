package page

import (
	"net/http"
	"slices"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/status"
)

// overviewView is the first screen: the printer, and what to do next.
type overviewView struct {
	Printer api.Printer
	Stages  []stage
	Steps   []choice
	CanAny  bool
	// Quick: the gauging alone can be done.
	Quick   bool
	Applied api.Applied
	Recent  []listed
	Check   api.Check
	// CanCheck says that the steps of a quick check can be done, Room that
	// there are other printers.
	CanCheck, Room bool
	// Decide is what a person should do about the correction; Blocked says that no run
	// begins before.
	Decide  []api.Todo
	Blocked bool
}

// choice is a step that a new run may have.
type choice struct {
	Name, Label, What string
	Can               bool
	// More is beyond the main job: it is not ticked beforehand.
	More   bool
	WhyNot string
}

func (p *page) overview(w http.ResponseWriter, r *http.Request) { p.showOverview(w, r, nil) }

func (p *page) showOverview(w http.ResponseWriter, r *http.Request, notice *api.Error) {
	s := p.begin(r, "Overview")
	s.Here = "/"
	if notice != nil {
		s.Notice = notice
	}
	v := overviewView{Printer: p.desk.Printer(), Applied: p.desk.Applied(), Stages: p.stages(s.Active)}
	v.Steps = choices(v.Printer)
	for _, t := range s.Todo {
		v.Blocked = v.Blocked || t.Grave
		if slices.Contains(t.Commands, "abbed correction undo") || slices.Contains(t.Commands, "abbed correction reapply") || t.ID == status.TodoInDoubt {
			v.Decide = append(v.Decide, t)
		}
	}
	for _, c := range v.Steps {
		v.CanAny = v.CanAny || c.Can
		v.Quick = v.Quick || c.Can && c.Name == "gauging"
	}
	v.Check, v.CanCheck = p.desk.Check(), v.Printer.Steps["repeat"].Can && v.Printer.Steps["survey"].Can
	if others, err := p.desk.Room(); err == nil {
		v.Room = len(others) > 1
	}
	runs, _ := p.desk.Runs()
	v.Recent = p.listed(runs[:min(len(runs), 3)])
	if v.Printer.Link != api.Ready && v.Printer.Link != api.Resting && v.Printer.Link != api.Unopened {
		s.Poll, s.Again = 2, 5
	}
	s.View = v
	p.show(w, r, "overview", s)
}

// choices are the steps of the main job, and the further ways to see, with
// whether they can be done.
func choices(printer api.Printer) []choice {
	all := []choice{
		{Name: "repeat", Label: "Steady?", What: "touch near the middle again and again"},
		{Name: "gauging", Label: "Gauge", What: "the feeler gauge under the nozzle, with you there"},
		{Name: "survey", Label: "Survey", What: "probe the whole bed"},
		{Name: "plate-turn", Label: "Turn the plate", More: true, What: "after the survey: you turn the removable plate, and it is probed again; tells plate from machine in part"},
		{Name: "coupons", Label: "Printed patches", More: true, What: "beside the gauging: you enter the thickness of single-layer patches by micrometer"},
		{Name: "angles", Label: "Angles at the head", More: true, What: "beside the gauging: you read an inclinometer on the head; tells the beam from the Y axis"},
		{Name: "reference", Label: "Straight reference", More: true, What: "you lay a ground bar or glass along X, and it is probed; tells the machine from the bed"},
	}
	for i := range all {
		can := printer.Steps[all[i].Name]
		all[i].Can, all[i].WhyNot = can.Can, can.WhyNot
	}
	return all
}

func (p *page) runs(w http.ResponseWriter, r *http.Request) {
	s := p.begin(r, "All runs")
	runs, err := p.desk.Runs()
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s.View = p.listed(runs)
	p.show(w, r, "runs", s)
}

// fact is something known of the printer, with where it came from.
type fact struct{ Name, Value, Source string }

func (p *page) printer(w http.ResponseWriter, r *http.Request) {
	s := p.begin(r, "The printer")
	pr := p.desk.Printer()
	s.View = struct {
		Printer api.Printer
		Facts   []fact
		Devices bool
	}{pr, facts(pr), p.opts.Doors != nil}
	p.show(w, r, "printer", s)
}

func facts(p api.Printer) []fact {
	return []fact{
		{"Lever, nozzle to probe", known(p.Lever, func(v api.XY) string { return say.At(v.X, v.Y) }), p.Lever.Source},
		{"Nozzle height at a touch", known(p.Trigger, mm), p.Trigger.Source},
		{"Bed", known(p.Bed, area), p.Bed.Source},
		{"Nozzle travel", known(p.Travel, func(b api.Box) string { return area(api.Rect{X0: b.X0, Y0: b.Y0, X1: b.X1, Y1: b.Y1}) }), p.Travel.Source},
		{"Y axis", known(p.Layout, func(s string) string {
			return map[string]string{"moving-bed": "the bed travels", "moving-gantry": "the beam travels"}[s]
		}), p.Layout.Source},
		{"Stored map lies on", known(p.MapArea, area), p.MapArea.Source},
		{"Stored map has", known(p.MapSize, func(s api.Size) string { return num(s.Columns) + " columns, " + num(s.Rows) + " rows" }), p.MapSize.Source},
		{"Z offset was set at", known(p.Zero, func(v api.XY) string { return say.At(v.X, v.Y) }), p.Zero.Source},
		{"Stored levelling", known(p.Levelling, func(on bool) string {
			if on {
				return "on"
			}
			return "off"
		}), p.Levelling.Source},
	}
}

// known writes a known value, or that it is not known.
func known[T any](k api.Known[T], how func(T) string) string {
	if k.Value == nil {
		return "not known"
	}
	return how(*k.Value)
}

func area(r api.Rect) string {
	return "X " + say.Short(r.X0) + " to " + say.Short(r.X1) + ", Y " + say.Short(r.Y0) + " to " + say.Short(r.Y1) + " mm"
}
