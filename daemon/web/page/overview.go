package page

import (
	"maps"
	"net/http"
	"slices"
	"strconv"

	"abbed/config/say"
	"abbed/daemon/access"
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
	// Decide is what a person should do about the correction, and at the machine; Blocked
	// says that no run begins before.
	Decide  []decision
	Blocked bool
}

// decision is what a person should do, and the screen that leads to it.
type decision struct {
	api.Todo
	Href, Label string
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
		switch {
		case slices.Contains(t.Commands, "abbed correction undo") || slices.Contains(t.Commands, "abbed correction reapply") || t.ID == status.TodoInDoubt:
			v.Decide = append(v.Decide, decision{t, "/applied", "Open the correction"})
		case slices.Contains(t.Commands, "abbed runs report"):
			v.Decide = append(v.Decide, decision{t, "/runs", "Show the runs"})
		case t.ID == status.TodoDisk:
			v.Decide = append(v.Decide, decision{Todo: t})
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
		{Name: "repeat", Label: "Steady?", What: "The probe touches one point again and again."},
		{Name: "gauging", Label: "Gauge", What: "You gauge the nozzle at a few points."},
		{Name: "survey", Label: "Survey", What: "The probe touches the whole bed."},
		{Name: "plate-turn", Label: "Turn the plate", More: true, What: "You turn the plate, and the probe touches it again."},
		{Name: "coupons", Label: "Printed patches", More: true, What: "You enter the thickness of printed patches."},
		{Name: "angles", Label: "Angles at the head", More: true, What: "You read an inclinometer on the head."},
		{Name: "reference", Label: "Straight reference", More: true, What: "You lay a straight bar along X for the probe."},
	}
	for i := range all {
		can := printer.Steps[all[i].Name]
		all[i].Can, all[i].WhyNot = can.Can, can.WhyNot
	}
	return all
}

// fact is something known of the printer, with where it came from.
type fact struct{ Name, Value, Source string }

// printerView is what is known of the printer, and who may use it.
type printerView struct {
	Printer  api.Printer
	Facts    []fact
	Identity []fact
	Cannot   []choice
	// Devices is nil for whoever may not do everything.
	Devices *devicesView
}

func (p *page) printer(w http.ResponseWriter, r *http.Request) { p.showPrinter(w, r, nil, nil) }

// showPrinter shows the printer, perhaps with a link that was just made.
func (p *page) showPrinter(w http.ResponseWriter, r *http.Request, notice *api.Error, made *newDevice) {
	s := p.begin(r, "The printer")
	s.Here = "/printer"
	if notice != nil {
		s.Notice = notice
	}
	pr := p.desk.Printer()
	v := printerView{Printer: pr, Facts: facts(pr), Identity: identity(pr.Identity)}
	for _, c := range choices(pr) {
		if !c.Can {
			v.Cannot = append(v.Cannot, c)
		}
	}
	if p.opts.Doors != nil && access.From(r.Context()).Role.Can(access.Everything) {
		v.Devices = p.devices(r, made)
	}
	s.View = v
	p.show(w, r, "printer", s)
}

// identity is what the printer says of itself, by names that people use.
func identity(says map[string]string) (out []fact) {
	for _, k := range slices.Sorted(maps.Keys(says)) {
		out = append(out, fact{Name: api.Called(k), Value: says[k]})
	}
	return out
}

func facts(p api.Printer) []fact {
	return []fact{
		{"Probe offset", known(p.Lever, func(v api.XY) string { return say.At(v.X, v.Y) }), p.Lever.Source},
		{"Nozzle height at a touch", known(p.Trigger, mm), p.Trigger.Source},
		{"Bed", known(p.Bed, area), p.Bed.Source},
		{"Nozzle travel", known(p.Travel, func(b api.Box) string { return area(b.Rect) }), p.Travel.Source},
		{"Y axis", known(p.Layout, func(s string) string {
			return map[string]string{"moving-bed": "the bed travels", "moving-gantry": "the beam travels"}[s]
		}), p.Layout.Source},
		{"Bed map covers", known(p.MapArea, area), p.MapArea.Source},
		{"Bed map has", known(p.MapSize, func(s api.Size) string {
			return strconv.Itoa(s.Columns) + " columns, " + strconv.Itoa(s.Rows) + " rows"
		}), p.MapSize.Source},
		{"Z offset was set at", known(p.Zero, func(v api.XY) string { return say.At(v.X, v.Y) }), p.Zero.Source},
		{"Bed map in use", known(p.Levelling, func(on bool) string {
			if on {
				return "yes"
			}
			return "no"
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
