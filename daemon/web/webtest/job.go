package webtest

import (
	"math"
	"math/rand/v2"
	"time"

	"abbed/daemon/api"
	"abbed/probe/record"
)

// This file makes the numbers of a whole job on a bed of 235 mm whose beam is
// twisted: a truth, and what was seen of it with some noise. The truth is made
// up for the tests.

// gapAt is the true gap error, mm: a twist that grows to the right.
func gapAt(u, v float64) float64 {
	t := (u - 117.5) / 100
	return 0.13*t + 0.035*t*t + 0.012*t*(v-117.5)/100
}

func bedAt(u, v float64) float64 {
	t, s := (u-117.5)/100, (v-117.5)/100
	return 0.04*s - 0.03*s*s + 0.02*t
}

// within gives the gap where the scenes' places allow it.
func within(u, v float64) api.Gap {
	if u < 5 || u > 205 || v < 5 || v > 230 {
		return api.Gap{Reason: "outside the gauged area"}
	}
	t := math.Abs(u-117.5) / 100
	return api.Gap{Gap: ptr(gapAt(u, v)), U95: ptr(0.004 + 0.008*t)}
}

func mm(v, u float64) *api.Measured {
	return &api.Measured{Value: v, U: u, Lo95: v - 2*u, Hi95: v + 2*u, Unit: "mm", DoF: 18.0}
}

func places() []record.Place {
	var out []record.Place
	for _, u := range []float64{117.5, 160, 190, 75, 20} {
		out = append(out, record.Place{U: u, V: 117.5})
	}
	for _, u := range []float64{20, 75, 117.5, 160, 190} {
		out = append(out, record.Place{U: u, V: 20})
	}
	return out
}

// maker appends touches and gaugings with their numbers and times.
type maker struct {
	run record.Run
	rnd *rand.Rand
}

func (m *maker) tick(dt float64) { m.run.Last++; m.run.T += dt }

func (m *maker) touch(p record.Place, s record.Series, side record.Side, pass, index, spot int) {
	m.tick(4)
	z := bedAt(p.U, p.V) + gapAt(p.U, p.V) + 0.004*m.rnd.NormFloat64() + 2e-6*m.run.T
	m.run.Touches = append(m.run.Touches, record.Touch{N: m.run.Last, T: m.run.T, Place: p, Z: math.Round(z*1000) / 1000,
		Side: side, Series: s, Pass: pass, Index: index, Spot: spot, Step: 0.001})
}

// wholeRun is the record of the job.
func wholeRun() record.Run {
	m := &maker{rnd: rand.New(rand.NewPCG(1, 2))}
	m.run = record.Run{Version: 1, ID: "r1", Steps: []record.Step{"repeat", "gauging", "survey"}, By: "page", Began: began,
		Setup: record.Setup{Printer: record.Identity{ID: "5be1"}, Lever: record.Lever{X: -42, Y: -9}, Trigger: 2.35, TriggerKnown: true,
			Bed: record.Rect{X1: 235, Y1: 235}, Layout: record.MovingBed, Zero: record.Place{U: 117.5, V: 117.5},
			Reach: record.Rect{X0: 5, Y0: 5, X1: 193, Y1: 226}, Criteria: record.DefaultCriteria()},
		Confirmed: &record.Confirmed{Person: "Ida", Blade: 0.1}, Step: "analysis",
		Finished: []record.Step{"prepare", "repeat", "gauging", "survey", "analysis"},
		Map:      &record.Map{Nodes: oldMap()}, Ended: &record.Ended{State: record.EndDone}}
	for i := range 24 {
		side := []record.Side{{X: -1}, {X: 1}, {Y: -1}, {Y: 1}}[i%4]
		m.touch(record.Place{U: 117.5, V: 117.5}, record.SeriesRepeat, side, i/4, i, -1)
	}
	for pass := range 3 {
		for i := range 41 {
			m.touch(record.Place{U: 57.5 + 3*float64(i), V: 117.5}, record.SeriesRow, record.Side{X: -1}, pass, i, -1)
		}
	}
	m.gauge()
	m.survey()
	return m.run
}

func (m *maker) gauge() {
	for spot, p := range places() {
		for visit := range 2 {
			m.touch(p, record.SeriesPair, record.Side{X: -1}, visit, 0, spot)
			m.tick(40)
			bed := bedAt(p.U, p.V) + 0.006*m.rnd.NormFloat64()
			m.run.Gaugings = append(m.run.Gaugings, record.Gauging{N: m.run.Last, T: m.run.T, Spot: spot, Place: p, Visit: visit,
				Z: math.Round((bed+0.1)*1000) / 1000, Blade: 0.1, Predicted: bed + 0.02, Presses: 9})
		}
	}
}

func (m *maker) survey() {
	for row := range 7 {
		for i := range 25 {
			col, side := i, record.Side{X: -1}
			if row%2 == 1 {
				col, side = 24-i, record.Side{X: 1}
			}
			m.touch(record.Place{U: 5 + 188*float64(col)/24, V: 5 + 221*float64(row)/6}, record.SeriesSurvey, side, row, 25*row+i, -1)
		}
		m.touch(record.Place{U: 117.5, V: 117.5}, record.SeriesBase, record.Side{X: 1}, row, row, -1)
	}
}

func oldMap() [][]int64 {
	rows := make([][]int64, 5)
	for j := range rows {
		for i := range 5 {
			u, v := nodeAt(i, j)
			rows[j] = append(rows[j], int64(math.Round(1000*(bedAt(u, v)+gapAt(u, v)))))
		}
	}
	return rows
}

func nodeAt(i, j int) (u, v float64) { return 20 + 42.5*float64(i), 20 + 48.75*float64(j) }

func table() api.Table {
	t := api.Table{Digest: ptr(Digest), Run: "r1", Cautions: TableCautions, Largest: 0.117, Steepest: 0.168, LargestU95: 0.011}
	for j := range 5 {
		for i := range 5 {
			u, v := nodeAt(i, j)
			t.Nodes = append(t.Nodes, api.Node{I: i, J: j, U: u, V: v, Before: float64(oldMap()[j][i]) / 1000,
				Add: -math.Round(1000*gapAt(u, v)) / 1000, U95: *within(u, v).U95})
		}
	}
	return t
}

// finished shows the job at its end.
func finished(s *Show) {
	s.Runs = []api.Run{{ID: "r1", State: api.Done, Step: "analysis", Steps: threeSteps, Began: began, Touches: 349, Gaugings: 20, Number: 812,
		Progress: api.Progress{Done: 1, Of: 1}, Sentence: "The run is done."}, failed()}
	s.Records = map[string]record.Run{"r1": wholeRun()}
	s.Analyses = map[string]api.Analysis{"r1": whole()}
	s.Tables = map[string]api.Table{"r1": table()}
	s.Gap, s.Repair = within, twistToShim()
}

func whole() api.Analysis {
	p := api.Profile{Repeats: 0.96, Unit: "mm"}
	for i := range 25 {
		x := 5 + 188*float64(i)/24
		f := gapAt(x, 117.5) + 0.02*(x-117.5)/100 - 0.031
		p.X, p.Effect, p.U = append(p.X, x), append(p.Effect, f), append(p.U, 0.002)
		p.Front, p.Back = append(p.Front, f-0.004*(x-100)/100), append(p.Back, f+0.004*(x-100)/100)
	}
	return api.Analysis{
		Stability: api.Stability{Scatter: mm(0.0042, 0.0004), FirstTouch: mm(0.001, 0.002), DriftRate: &api.Measured{Value: 0.00012, U: 0.00004, Lo95: 0.00004, Hi95: 0.0002, Unit: "mm/min", DoF: 12.0},
			DriftModel: "line", PlayX: mm(0.003, 0.002), PlayY: mm(-0.001, 0.002), Wander: mm(0.003, 0.001), Steady: true,
			Ride: &api.Ride{Touches: 175, Off: 7, Low: 7, Stays: &api.Period{Length: *mm(71.2, 0.8), Depth: 0.06, FalseAlarm: 1e-5, Rows: 2},
				Says: "7 of 175 touches of the survey lie off their neighbours (7 of them below); what stays has a period of 71 ±2 mm."}},
		Profile: &p, Share: &api.Measured{Value: 0.91, U: 0.05, Lo95: 0.81, Hi95: 1.01, Unit: "1", DoF: 14.0},
		Model: &api.Model{Terms: []api.Term{{Name: "roll of the head along X", At: *mm(0.131, 0.004)}, {Name: "roll of the Y axis", At: *mm(0.034, 0.006)}},
			Scatter: mm(0.0061, 0.001), LackOfFitF: ptr(1.1), LackOfFitP: ptr(0.42),
			Outliers: []api.Outlier{{Event: 402, U: 75, V: 20, Off: 0.021, Weight: 0.4}}},
		Level: mm(0.041, 0.005), Largest: mm(0.139, 0.006),
		Findings: []api.Finding{
			{ID: "beam-twist", Sentence: "The head rolls along X: the beam is twisted. At the right edge the nozzle is 0.11 mm too high.", Evidence: "The nozzle error rises by 0.230 mm from left to right, with a curve; the same in front and back", Doubt: "0.139 mm largest, 0.127 to 0.151 mm", Next: "Replace or realign the beam, or correct the map."},
			{ID: "drift", Sentence: "Heights moved by 0.002 mm over the run; this was removed.", Evidence: "seven returns to the base point", Doubt: "below 0.002 mm", Next: "Nothing."},
		},
	}
}

// gauging is the run with the person at the feeler gauge; its sentences are the probe's.
func gauging(state api.State) api.Run {
	spot := &api.Spot{Index: 2, U: 190, V: 117.5, Z: 0.485, Predicted: 0.116, Floor: -0.024, NextStep: 0.085, Records: 1, Wanted: 2, Of: 10, Gauge: 0.1, Heights: []float64{0.031}}
	said := "Slide the feeler gauge under the nozzle. Is it loose, does it drag, or is it tight?"
	for _, p := range places()[3:] {
		spot.Ahead = append(spot.Ahead, [2]float64{p.U, p.V})
	}
	if state == api.AwaitingNext {
		spot.Records, spot.Heights, spot.Z = 2, []float64{0.031, 0.024}, 2
		said = "Take hand and gauge out, then press next."
	}
	return api.Run{ID: "r1", State: state, Step: "gauging", Steps: threeSteps, Began: began, Touches: 159, Gaugings: 5, Number: 420, Place: spot,
		Progress: api.Progress{Done: 5, Of: 20, ETA: ptr(17 * time.Minute.Seconds())}, Forecast: ahead(5), Sentence: said}
}

func gaugedSoFar() map[string]record.Run {
	r := wholeRun()
	r.Gaugings, r.Map, r.Ended = r.Gaugings[:5], nil, nil
	r.Touches = r.Touches[:159]
	return map[string]record.Run{"r1": r}
}

// Hostile is what a printer or a person might say to break out of a page.
const Hostile = `"><script>alert(1)</script><img src=x onerror=alert(2)>' onclick='x` + "\u2028"

// hostile says it wherever a text can come from outside.
func hostile(s *Show) {
	finished(s)
	s.Printer.Identity = map[string]string{Hostile: Hostile}
	s.Printer.Sentence, s.Printer.Port, s.Printer.Owed = Hostile, Hostile, []string{Hostile}
	s.Runs[1].Error = api.Errorf(0, Hostile, Hostile, "%s", Hostile)
	s.Runs[1].Sentence = Hostile
	s.Runs = append(s.Runs, api.Run{ID: "r2", State: api.AwaitingPerson, Began: began, Prompt: &api.Prompt{ID: Hostile, Text: Hostile}, Sentence: Hostile})
	a := s.Analyses["r1"]
	a.Findings = []api.Finding{{ID: Hostile, Sentence: Hostile, Evidence: Hostile, Doubt: Hostile, Next: Hostile}}
	a.ShareWhy, a.Share = Hostile, nil
	a.Model.Terms[0].Name = Hostile
	s.Analyses["r1"] = a
	t := s.Tables["r1"]
	t.Cautions = []api.Caution{{ID: Hostile, Text: Hostile}}
	s.Tables["r1"] = t
	s.Applied = api.Applied{State: api.Kept, Digest: ptr(Digest), Sentence: Hostile, Person: Hostile, Expired: ptr(Hostile), Error: api.Errorf(0, Hostile, Hostile, "%s", Hostile)}
}
