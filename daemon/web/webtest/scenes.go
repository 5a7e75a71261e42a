package webtest

import (
	"maps"
	"slices"
	"time"

	"abbed/daemon/api"
	"abbed/probe/record"
)

// RunCautions and TableCautions stand for those of the daemon.
var (
	RunCautions = []api.Caution{
		{ID: "bed-clear", Text: "The bed is clear: no print, no tool, no clip."},
		{ID: "head-free", Text: "The head and the bed move freely, and hands stay out."},
		{ID: "power-switch", Text: "I can reach the printer's power switch."},
	}
	TableCautions = []api.Caution{
		{ID: "nozzle-crash", Text: "I looked at the maps. The nozzle goes at most 0.12 mm lower. A wrong correction drives it into the bed."},
		{ID: "keeps-all", Text: "I looked at the printer's settings. Saving the bed map saves all that is in force, its idle switch-off too."},
		{ID: "undo", Text: "Undo writes the old bed map back, and leaves the printer's other settings alone."},
	}
)

// Digest is that of the table that the scenes show.
const Digest = "9f2c7a41d0e85b36"

// Scenes returns the names of all scenes, sorted.
func Scenes() []string { return slices.Sorted(maps.Keys(scenes)) }

// Scene returns a desk in the named state. It panics if there is none.
func Scene(name string) *Desk {
	s := base()
	scenes[name](&s)
	return NewDesk(s)
}

// scenes are the states of a job that a front must be able to show.
var scenes = map[string]func(*Show){
	"unopened": func(s *Show) {
		s.Printer = api.Printer{Link: api.Unopened, Port: "/dev/ttyUSB0", Sentence: "The port has not been opened yet. Opening it may reset the printer and end a print from its own storage."}
		s.Printer.Steps = noStep("the printer was not asked yet")
	},
	"connecting": func(s *Show) {
		s.Printer = api.Printer{Link: api.Connecting, Port: "/dev/ttyUSB0", Sentence: "Waiting for the printer to answer."}
		s.Printer.Steps = noStep("the printer does not answer yet")
		refuse(s, "StartRun", &api.Error{Status: 503, Code: "connecting", Text: "start a run: the printer is not there yet", Hint: "try again in a moment", RetryAfter: 2})
	},
	"ready": func(*Show) {},
	"room": func(s *Show) {
		due, last := began.Add(time.Hour), began.Add(-time.Hour)
		s.Check = api.Check{Every: 604800, Last: &last, Due: &due, Waits: "it waits until the printer is cold", Sentence: "A check is due. It waits until the printer is cold."}
		s.Room = []api.Neighbour{
			{Name: "left", URL: "http://127.0.0.1:8077", Port: "/dev/left", Link: api.Ready, Run: api.Done, Applied: api.Kept, Todo: []api.Todo{}, At: began},
			{Name: "right", Port: Hostile, Link: api.Lost, Applied: api.Unfinished, Todo: []api.Todo{{Act: "Undo the correction, or finish it.", Says: Hostile, Commands: []string{}}}, At: began, Silent: true},
			{Name: Hostile, URL: "http://127.0.0.1:8078", Link: api.Resting, Applied: api.NoneApplied, Todo: []api.Todo{}, At: began, Ended: true},
		}
	},
	"owed": func(s *Show) {
		s.Printer.Link, s.Printer.Homed = api.Lost, false
		s.Printer.Sentence = "The link is lost. The machine counts as unhomed until it was homed again."
		s.Printer.Owed = []string{"levelling", "limits"}
		s.Printer.Steps = noStep("what a run switched off is not put back yet")
		s.Runs = []api.Run{failed()}
	},
	"confirm": func(s *Show) {
		s.Runs = []api.Run{{ID: "r1", State: api.AwaitingConfirmation, Steps: threeSteps, Began: began, Cautions: RunCautions, Number: 1, Forecast: ahead(0),
			Sentence: "The run waits for you to start it."}}
	},
	"repeat": func(s *Show) {
		s.Runs = []api.Run{{ID: "r1", State: api.Running, Step: "repeat", Steps: threeSteps, Began: began, Touches: 38, Number: 61,
			Progress: api.Progress{Done: 38, Of: 160, ETA: ptr(412.0)}, Forecast: ahead(0), Sentence: "Touching the same point again and again: is the machine steady? Stay near, the feeler gauge comes next."}}
		r := wholeRun()
		r.Touches, r.Gaugings, r.Map = r.Touches[:38], nil, nil
		s.Records = map[string]record.Run{"r1": r}
	},
	"gauge": func(s *Show) { s.Runs = []api.Run{gauging(api.AwaitingGauge)}; s.Records = gaugedSoFar() },
	"next":  func(s *Show) { s.Runs = []api.Run{gauging(api.AwaitingNext)}; s.Records = gaugedSoFar() },
	"prompt": func(s *Show) {
		r := gauging(api.AwaitingPerson)
		r.Place, r.Prompt = nil, &api.Prompt{ID: "more-places", Text: "Two more points at the right edge help. Gauge them too?"}
		s.Runs, s.Records = []api.Run{r}, gaugedSoFar()
	},
	"survey": func(s *Show) {
		s.Runs = []api.Run{{ID: "r1", State: api.Running, Step: "survey", Steps: threeSteps, Began: began, Touches: 288, Gaugings: 20, Number: 690,
			Progress: api.Progress{Done: 74, Of: 175, ETA: ptr(391.0)}, Forecast: ahead(20), Unwatched: true, Sentence: "Touching the bed all over. You can go now."}}
		r := wholeRun()
		r.Touches = r.Touches[:len(r.Touches)-101]
		s.Records = map[string]record.Run{"r1": r}
	},
	"done":      finished,
	"signedoff": finished,
	"writing": func(s *Show) {
		finished(s)
		s.Applied = api.Applied{State: api.Writing, Digest: ptr(Digest), Progress: api.Progress{Done: 11, Of: 25}, Sentence: "Writing the table, node by node.", Person: "Ida", Run: "r1"}
	},
	"kept": func(s *Show) {
		finished(s)
		s.Applied = api.Applied{State: api.Kept, Digest: ptr(Digest), Sentence: "The correction is kept. Every node was read back and is as it was written.", Since: ptr(began.Add(time.Hour)), Person: "Ida", Run: "r1", Progress: api.Progress{Done: 25, Of: 25}}
	},
	"undone": func(s *Show) {
		finished(s)
		s.Applied = api.Applied{State: api.Undone, Digest: ptr(Digest), Sentence: "The old map is back, exactly as printed.", Since: ptr(began.Add(2 * time.Hour)), Person: "Ida", Run: "r1"}
	},
	"unfinished": func(s *Show) {
		finished(s)
		s.Applied = api.Applied{State: api.Unfinished, Digest: ptr(Digest), Progress: api.Progress{Done: 9, Of: 25}, Run: "r1", Person: "Ida",
			Sentence: "A power cut came while the table was written: 9 of 25 nodes are new, the others old.", Error: api.Errorf(0, "cut-off", "finish it, or undo it", "the write was cut off")}
	},
	"worn": func(s *Show) {
		finished(s)
		a := s.Analyses["r1"]
		a.Stability.Steady, a.Stability.Failed, a.Stability.Wander = false, "worn-wheels", mm(0.031, 0.004)
		a.Profile, a.Share, a.Model, a.Level, a.Largest = nil, nil, nil, nil, nil
		a.ShareWhy = "a gate failed before it"
		a.Findings = []api.Finding{{ID: "worn-wheels", Sentence: "Passes over the same row wander by 0.03 mm: wheels or rails do not run true.",
			Evidence: "wandering 0.031 mm between three passes, where scatter explains 0.006 mm", Doubt: "0.023 to 0.039 mm", Next: "Clean the wheels and check them for flats. Adjust their preload, then measure again."}}
		s.Analyses["r1"] = a
		s.Tables["r1"] = api.Table{Run: "r1", Refused: api.Errorf(0, "finding-worn-wheels", "repair first, then measure again", "no table: what is not stable cannot be corrected")}
		r := s.Records["r1"]
		r.Gaugings, r.Map = nil, nil
		r.Touches = r.Of(record.SeriesRow)
		s.Records["r1"] = r
		s.Gap, s.Repair = nil, nothingToShim()
	},
	"failed":  func(s *Show) { s.Runs = []api.Run{failed()} },
	"hostile": hostile,
}

var (
	began      = time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)
	threeSteps = []string{"repeat", "gauging", "survey"}
)

func ptr[T any](v T) *T { return &v }

func refuse(s *Show, verb string, err error) { s.Refuse = map[string]error{verb: err} }

func noStep(why string) map[string]api.Can {
	steps := map[string]api.Can{}
	for _, name := range []string{"repeat", "gauging", "survey", "plate-turn", "coupons", "reference", "prove"} {
		steps[name] = api.Can{WhyNot: why}
	}
	return steps
}

// base is a printer that is ready, with nothing done.
func base() Show {
	steps := noStep("not built yet")
	for _, name := range threeSteps {
		steps[name] = api.Can{Can: true}
	}
	return Show{
		Printer: api.Printer{
			Link: api.Ready, Sentence: "The printer answers.", Port: "/dev/ttyUSB0", Homed: true, ID: "5be1", Layer: 0.2,
			Identity:     map[string]string{"FIRMWARE_NAME": "bench 1", "MACHINE_TYPE": "two by two"},
			Lever:        known(api.XY{X: -42, Y: -9}, "asked"),
			Trigger:      known(2.35, "set"),
			Travel:       known(api.Box{Rect: api.Rect{X1: 235, Y1: 235}, Z1: 250}, "asked"),
			Bed:          known(api.Rect{X1: 235, Y1: 235}, "set"),
			Layout:       known("moving-bed", "set"),
			MapArea:      known(api.Rect{X0: 20, Y0: 20, X1: 190, Y1: 215}, "set"),
			Zero:         known(api.XY{X: 117.5, Y: 117.5}, "default"),
			MapSize:      known(api.Size{Columns: 5, Rows: 5}, "asked"),
			Levelling:    known(true, "asked"),
			Temperatures: &api.Temperatures{Nozzle: 24.6, Bed: 59.8, BedTarget: 60},
			Steps:        steps,
		},
		Applied: api.Applied{State: api.NoneApplied, Sentence: "No correction is in force."},
		Past:    past(), Compared: compared(), Levers: levers(), Repair: nothingToShim(), Print: print(), Proof: proof(),
	}
}

func known[T any](v T, source string) api.Known[T] { return api.Known[T]{Value: &v, Source: source} }

func failed() api.Run {
	return api.Run{ID: "r0", State: api.Failed, Step: "survey", Steps: threeSteps, Began: began.Add(-time.Hour), Touches: 211, Gaugings: 20, Number: 502,
		Sentence: "The run failed: the link to the printer is lost. What was measured is kept. Next: check the cable, home the machine, and put back what is owed.",
		Error:    api.Errorf(0, "lost", "check the cable, home the machine, and put back what is owed", "survey: touch 51: the link to the printer was lost")}
}
