package webtest

import (
	"maps"
	"time"

	"abbed/daemon/api"
	"abbed/probe/record"
)

func init() { maps.Copy(scenes, states) }

// states are those that a person meets more rarely than the scenes of a job
// that goes well.
var states = map[string]func(*Show){
	"taken": func(s *Show) {
		s.Printer.Link, s.Printer.Sentence = api.Taken, "Another program holds the port: print-sender, process 4218. End it, or have it let go."
		s.Printer.Steps = noStep("the port is held by another program")
	},
	"warming": func(s *Show) {
		s.Runs = []api.Run{{ID: "r1", State: api.Running, Step: "prepare", Steps: threeSteps, Began: began, Number: 4, Heat: &api.Heat{Nozzle: ptr(150.0), Bed: ptr(60.0)},
			Sentence: "Heating: nozzle to 150 °C, bed to 60 °C. Nozzle and bed burn."}}
		s.Printer.Temperatures = &api.Temperatures{Nozzle: 84, NozzleTarget: 150, Bed: 41, BedTarget: 60, Heard: ptr(began.Add(time.Minute))}
	},
	"homing": func(s *Show) {
		s.Runs = []api.Run{{ID: "r1", State: api.Running, Step: "prepare", Steps: threeSteps, Began: began, Number: 3, Sentence: "Looking at the printer, then homing."}}
		s.Printer.Homed, s.Printer.Temperatures = false, &api.Temperatures{Nozzle: 24.6, Bed: 23.8}
	},
	"moving": func(s *Show) {
		r := gauging(api.Running)
		r.Place, r.Sentence = nil, "Moving to the next point. Keep hands and gauge out."
		s.Runs, s.Records = []api.Run{r}, gaugedSoFar()
	},
	"rows": func(s *Show) {
		scenes["repeat"](s)
		s.Runs[0].Unwatched, s.Runs[0].Gaugings, s.Runs[0].Sentence = true, 20, "Touching one row three times: do the wheels run true? You can go now."
	},
	"first": func(s *Show) {
		r := gauging(api.AwaitingGauge)
		r.Place.Index, r.Place.Records, r.Place.Heights, r.Gaugings = 0, 0, nil, 0
		s.Runs, s.Records = []api.Run{r}, gaugedSoFar()
	},
	"detour": func(s *Show) {
		r := gauging(api.AwaitingNext)
		r.Place.Records, r.Place.Heights = 0, nil
		r.Sentence = "The gauge is still loose as low as the nozzle may go. A point half way comes first, then this one again. Take hand and gauge out, then press next."
		s.Runs, s.Records = []api.Run{r}, gaugedSoFar()
	},
	"value": func(s *Show) {
		r := gauging(api.AwaitingPerson)
		r.Step, r.Place = "angles", nil
		r.Prompt = &api.Prompt{ID: "angle-1", Text: "Read the inclinometer on the head at the left end.", Value: &api.Wanted{Unit: "deg", Least: -10, Most: 10}}
		s.Runs, s.Records = []api.Run{r}, gaugedSoFar()
	},
	"stopped": func(s *Show) {
		r := failed()
		r.State, r.Error, r.Sentence = api.Stopped, nil, "Stopped, as was asked. What was measured is kept. The machine has to be homed again."
		s.Runs, s.Printer.Homed = []api.Run{r}, false
		s.Records = map[string]record.Run{"r0": gaugedSoFar()["r1"]}
	},
	"proving": func(s *Show) {
		kept(s)
		s.Runs = append([]api.Run{{ID: "p1", State: api.AwaitingConfirmation, Steps: []string{"prove"}, Began: began.Add(2 * time.Hour), Cautions: RunCautions, Number: 1, Sentence: "The run waits for you to start it."}}, s.Runs...)
	},
	"proof-over": func(s *Show) {
		kept(s)
		text, hint := "The nozzle is 0.05 mm too high at X 195, Y 24 and at the zero point", "Set the Z offset 0.05 mm lower, and verify again"
		s.Applied.Error = api.Errorf(0, "not-proved", hint, "%s: the level has changed, not the tilt", text)
		s.Runs = append([]api.Run{{ID: "p1", State: api.Done, Steps: []string{"prove"}, Step: "prove", Began: began.Add(2 * time.Hour), Gaugings: 2, Number: 9,
			Sentence: "Not verified: the level changed, not the tilt. Gauged: " + text + ". Next: " + hint + "."}}, s.Runs...)
	},
	"proved": func(s *Show) {
		kept(s)
		s.Applied.Proved, s.Applied.Sentence = true, "The correction is in force and verified."
	},
	"expired": func(s *Show) {
		kept(s)
		s.Applied.Expired = ptr("the printer has another map now")
		s.Applied.Sentence = "A correction was kept, but it no longer holds: the printer has another map now."
	},
	"tilts-otherwise": func(s *Show) {
		kept(s)
		s.Applied.Expired, s.Applied.MeasureAgain = ptr("a newer run shows that the head tilts otherwise"), true
		s.Applied.Sentence = "A correction was kept, but it no longer holds: a newer run shows that the head tilts otherwise."
	},
	"put-back": func(s *Show) {
		kept(s)
		s.Applied.State, s.Applied.Sentence = api.PutBack, "The old map was put back."
		s.Applied.Error = api.Errorf(0, "read-back", "look at the map that the printer has, and measure again", "the printer read back other values than abbed wrote")
	},
	"healthy": func(s *Show) {
		finished(s)
		a := s.Analyses["r1"]
		a.Largest, a.Level = mm(0.012, 0.004), mm(0.002, 0.005)
		a.Findings = []api.Finding{{ID: "healthy", Sentence: "The bed map is right: the nozzle is within 0.03 mm of it everywhere gauged.", Evidence: "largest nozzle error 0.012 mm at ten gauged points", Doubt: "0.004 to 0.020 mm", Next: "Nothing to mend. Measure again when something was worked on."}}
		s.Analyses["r1"] = a
		s.Tables["r1"] = api.Table{Run: "r1", Refused: api.Errorf(0, "not-needed", "leave it as it is", "no table: there is nothing to correct")}
		s.Gap, s.Repair = func(u, v float64) api.Gap { return api.Gap{Gap: ptr(gapAt(u, v) / 12), U95: ptr(0.008)} }, nothingToShim()
	},
	"undetermined": func(s *Show) {
		finished(s)
		a := s.Analyses["r1"]
		a.Largest, a.Model, a.Share = nil, nil, nil
		a.Wedge = &api.Wedge{From: 20, To: 190, Row: 117.5, By: *mm(0.11, 0.01), Worth: "yes", Sentence: "From left to right the nozzle rises by 0.11 mm against the map, 0.09 to 0.13 mm.", Next: "Run the whole job: it says what causes it."}
		a.More = &api.More{U: 190, V: 20, Why: "Two terms cannot be told apart without it", Now: ptr(0.041), After: ptr(0.018), Left: 4, Time: 260}
		a.Findings = []api.Finding{{ID: "undetermined", Sentence: "The data cannot tell whether the beam or the bed is twisted.", Evidence: "both fit the same places", Doubt: "0.5 to 0.5", Next: "Gauge one place more, at x 190, y 20 mm."}}
		s.Analyses["r1"] = a
		s.Tables["r1"] = api.Table{Run: "r1", Refused: api.Errorf(0, "finding-undetermined", "gauge one place more", "no table: what cannot be told cannot be corrected")}
		s.Repair = nothingToShim()
	},
	"later": func(s *Show) {
		scenes["undetermined"](s)
		a := s.Analyses["r1"]
		a.Later = []api.Later{
			{Run: "r2", Began: began.Add(48 * time.Hour), Records: 4, Contradicts: true, Text: "The 4 readings of the run of 27 Nov 2026, 09:30 contradict this run, and are left out: the head tilts in another way, the gauge was drawn in another way, or one of the records is a slip."},
			{Run: "gone", Began: began.Add(72 * time.Hour), Records: 5, Used: true, Text: "The 5 readings of the run of 28 Nov 2026, 09:30 count here."},
		}
		a.Later = append(a.Later, api.Later{Run: "slip", Began: began.Add(24 * time.Hour), Records: 3, Contradicts: true, Lifted: true, Text: "What was gauged after it does not show it again: its records were a slip."})
		s.Analyses["r1"] = a
		r := s.Records["r1"]
		r.Joined = []record.Joined{{Run: "r2", Gaps: []record.GapReading{{Event: 40, Place: record.Place{U: 60, V: 200}, U: 0.01}, {Event: 44, Place: record.Place{U: 60, V: 200}, U: 0.01}}}}
		s.Records["r1"] = r
		later := api.Run{ID: "r2", State: api.Done, Step: "analysis", Steps: []string{"gauging"}, Began: began.Add(48 * time.Hour), Touches: 14, Gaugings: 4, Number: 80, For: "r1",
			Sentence: "Done. The readings count in the earlier run."}
		orphan := later
		orphan.ID, orphan.For = "r3", "dropped"
		s.Runs = append([]api.Run{orphan, later}, s.Runs...)
		s.Analyses["r2"], s.Records["r2"] = s.Analyses["r1"], s.Records["r1"]
		waits := later
		waits.ID, waits.State, waits.Step, waits.Cautions, waits.Sentence = "r4", api.AwaitingConfirmation, "prepare", RunCautions, "The run waits for you to start it."
		waits.Forecast = ahead(18)
		s.Runs = append([]api.Run{waits}, s.Runs...)
		for i := range s.Runs {
			if s.Runs[i].ID == "r1" {
				s.Runs[i].Later = []string{"r2", "r4"}
			}
		}
	},
	"no-analysis": func(s *Show) {
		finished(s)
		s.Analyses = nil
		refuse(s, "Analysis", api.Errorf(409, "not-ready", "measure again", "the run has too little to judge"))
		s.Refuse["Table"], s.Refuse["Repair"], s.Refuse["ProofPrint"] = s.Refuse["Analysis"], s.Refuse["Analysis"], api.Errorf(409, "no-proof-print", "set the bed", "the bed is not known")
	},
}

// kept is a correction in force.
func kept(s *Show) { scenes["kept"](s) }

// ahead is what is foretold of the job after so many records (the words are those
// of the daemon).
func ahead(records int) *api.Forecast {
	left := 20 - records
	f := &api.Forecast{Measured: records > 0, Scatter: 0.004, Touch: 4, Record: 45, Left: float64(700 + 45*left),
		Gauging: &api.GaugeForecast{Records: records, Left: left, Time: float64(45 * left), Straight: ptr(0.007), Bent: ptr(0.012), Target: 0.012},
		Survey:  &api.SurveyForecast{Columns: 25, Rows: 7, Repeats: 1, BaseEvery: 25, Touches: 182, Time: 700, U95: ptr(0.004), Target: 0.006, Chosen: true},
		Says: "Gauge: 20 readings, about 15 min. Survey: 25 columns and 7 rows, about 12 min. " +
			"The repeat test measures the times. These are the usual ones."}
	if records == 0 {
		f.Repeat = &api.RepeatForecast{Touches: 160, Time: 640}
	}
	return f
}
