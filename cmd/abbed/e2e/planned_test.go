package e2e_test

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestPlannedJob does the whole job with a planned survey, over the API: what is ahead is told
// before the run is confirmed, again from what the repeat test measured, and after
// each record; the survey is then as it was told, takes a third fewer touches than the
// full one, and the job ends as with that.
func TestPlannedJob(t *testing.T) {
	t.Parallel()
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		j := plannedJob(t, dir, 3, func(s *config.Settings) {
			s.Survey.Plan, s.Gauging.Plan = config.PlanLean, config.PlanThorough
		})
		told := j.forecast["survey"]
		if told == nil || told.Survey == nil || !told.Measured || told.Survey.U95 == nil || !told.Survey.Chosen {
			t.Fatalf("foretold of the survey: %+v", told)
		}
		s := told.Survey
		if n := len(j.run.Of(record.SeriesSurvey)) + len(j.run.Of(record.SeriesBase)); n != s.Touches {
			t.Errorf("%d touches, foretold were %d", n, s.Touches)
		}
		if 3*s.Touches > 2*183 || *s.U95 > s.Target {
			t.Errorf("%+v, u95 %.4f", *s, *s.U95)
		}
		if j.o.Table.Digest == nil || j.o.Analysis.Findings[0].ID != "beam-twist" {
			t.Errorf("found %s, table %v", j.o.Analysis.Findings[0].ID, j.o.Table.Refused)
		}
		if rms, _ := demo.Remaining(j.o.Table, j.printer.Truth()); rms > 0.010 {
			t.Errorf("%.1f um are left", 1000*rms)
		}
		j.foretold(t)
	})
}

// planned is a job that was watched.
type planned struct {
	o       *ask.Outcome
	run     record.Run
	printer *bench.Printer
	// forecast is what was foretold last in each step, "" before the confirmation;
	// records how well the gap error was known after so many records.
	forecast map[string]*api.Forecast
	records  map[int]bool
	// totals are the records made and to come, as foretold from the confirmation to
	// the end of the gauging, in their order; ofs what the gauging's progress was of.
	totals []int
	ofs    map[int]bool
}

// watch keeps what is told of a run.
func (j *planned) watch(r api.Run) {
	step := r.Step
	if r.State == api.AwaitingConfirmation {
		step = ""
	}
	if r.Forecast == nil {
		return
	}
	j.forecast[step] = r.Forecast
	g := r.Forecast.Gauging
	if g != nil && g.Now != nil {
		j.records[g.Records] = true
	}
	if g == nil || slices.Contains([]string{"survey", "analysis"}, step) || r.State == api.Done {
		return
	}
	j.totals = append(j.totals, g.Records+g.Left)
	if step == "gauging" {
		j.ofs[r.Progress.Of] = true
	}
}

// totalsHold holds that what was predicted before a run was neither more nor less than
// what it took.
func (j *planned) totalsHold(t *testing.T, made int) {
	t.Helper()
	if len(j.totals) < made || slices.Min(j.totals) != made || slices.Max(j.totals) != made {
		t.Errorf("%d records were made; made and to come, as foretold: %v", made, j.totals)
	}
	if len(j.ofs) != 1 || !j.ofs[made] {
		t.Errorf("%d records were made; the progress was of %v", made, j.ofs)
	}
}

// TestTotals: how many records there will be is told before the run, and stays so
// after each of them; in the five-minute answer, where the zero place owes two, and in
// the full plan, with one record a place and with two.
func TestTotals(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		records int
		steps   []string
	}{
		"five minutes": {2, []string{"gauging"}},
		"one a place":  {1, []string{"repeat", "gauging"}},
		"two a place":  {2, []string{"repeat", "gauging"}},
	} {
		t.Run(name, func(t *testing.T) {
			sc, err := bench.Lookup("beam-twist")
			if err != nil {
				t.Fatal(err)
			}
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				j := watched(sc, 3)
				w := open(t, dir, sc, &cable{printer: j.printer}, func(s *config.Settings) { s.Gauging.Plan, s.Gauging.Records = config.PlanThorough, c.records })
				defer w.close()
				p := &demo.Person{API: w.api, Feel: j.printer.Blade, Rnd: rand.New(rand.NewPCG(3, 5)), Name: "the played person", Seen: j.watch}
				run, err := p.Measure(t.Context(), c.steps...)
				if err != nil || run.State != api.Done {
					t.Fatalf("%s, %v", run.State, err)
				}
				j.totalsHold(t, run.Gaugings)
			})
		})
	}
}

// watched is a virtual printer of a job that is to be watched.
func watched(sc bench.Scenario, seed uint64) planned {
	return planned{printer: bench.New(sc, bench.Options{Seed: seed}), forecast: map[string]*api.Forecast{}, records: map[int]bool{}, ofs: map[int]bool{}}
}

func plannedJob(t *testing.T, dir string, seed uint64, set func(*config.Settings), answer ...func(api.Prompt) (bool, *float64)) planned {
	t.Helper()
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	j := watched(sc, seed)
	w := open(t, dir, sc, &cable{printer: j.printer}, set)
	defer w.close()
	p := &demo.Person{API: w.api, Feel: j.printer.Blade, Rnd: rand.New(rand.NewPCG(seed, 5)), Name: "the played person"}
	if len(answer) > 0 {
		p.Answer = answer[0]
	}
	p.Seen = j.watch
	if j.o, err = p.WholeJob(t.Context()); err != nil {
		t.Fatal(err)
	}
	raw, err := w.api.Record(t.Context(), j.o.Run.ID)
	if err == nil {
		err = json.Unmarshal(raw, &j.run)
	}
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// foretold holds what was told before the run, and after each record.
func (j planned) foretold(t *testing.T) {
	t.Helper()
	first := j.forecast[""]
	if first == nil || first.Measured || first.Repeat == nil || first.Gauging == nil || first.Survey == nil || first.Left < 60 ||
		first.Gauging.Straight == nil || *first.Gauging.Straight > 0.020 || !strings.Contains(first.Says, "Survey:") {
		t.Errorf("before the confirmation: %+v", first)
	}
	if n := len(j.run.Gaugings); len(j.records) < n/3 {
		t.Errorf("how well the gap error is known was told after %d of %d records", len(j.records), n)
	}
	if g := j.forecast["gauging"].Gauging; g.Records != len(j.run.Gaugings) || g.Left != 0 {
		t.Errorf("at the end of the gauging: %+v", g)
	}
}
