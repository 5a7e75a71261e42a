package e2e_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/config"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestLeanJob does the whole job with the lean plan: the rules of gauging hold
// for each place, the zero place stands at the beginning and is come back to, no
// more than sixteen records are asked for, and the answer is right.
func TestLeanJob(t *testing.T) {
	t.Parallel()
	var all fleetTable
	t.Run("jobs", func(t *testing.T) {
		for _, name := range []string{"beam-twist", "healthy", "twist-level", "twist-curved"} {
			sc, err := bench.Lookup(name)
			if err != nil {
				t.Fatal(err)
			}
			for seed := range *fleetSeeds {
				t.Run(fmt.Sprintf("%s/%d", name, seed+1), func(t *testing.T) {
					t.Parallel()
					dir := memoryDir(t)
					synctest.Test(t, func(t *testing.T) { all.add(leanJob(t, dir, sc, uint64(seed+1))) })
				})
			}
		}
	})
	slices.SortFunc(all.rows, func(a, b fleetRow) int { return strings.Compare(a.name, b.name) })
	for _, r := range all.rows {
		t.Logf("%-16s seed %d  %-14s table %-5v left %4.1f um  %.1f presses a record", r.name, r.seed, r.finding, r.table, 1000*r.rms, r.presses)
		if r.rms > 0.020 {
			t.Errorf("%s seed %d: rms of what is left %.1f um, at most the target of 20", r.name, r.seed, 1000*r.rms)
		}
	}
}

func leanJob(t *testing.T, dir string, sc bench.Scenario, seed uint64) fleetRow {
	row := fleetRow{name: sc.Name, seed: seed}
	printer := bench.New(sc, bench.Options{Seed: seed})
	w := open(t, dir, sc, &cable{printer: printer}, func(s *config.Settings) { s.Gauging.Plan = config.PlanNormal })
	defer w.close()
	p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(seed, 0x9a06e)), Name: "the played person"}
	o, err := p.WholeJob(t.Context())
	if err != nil {
		t.Errorf("the job: %v", err)
		row.err = err
		return row
	}
	raw, err := w.api.Record(t.Context(), o.Run.ID)
	var run record.Run
	if err == nil {
		err = json.Unmarshal(raw, &run)
	}
	if err != nil {
		t.Fatal(err)
	}
	leanRules(t, run)
	row.finding = o.Analysis.Findings[0].ID
	row.table = o.Table.Digest != nil
	row.presses = float64(o.Presses) / float64(max(1, o.Records))
	if row.table {
		row.rms, _ = demo.Remaining(o.Table, printer.Truth())
	}
	points := [][2]float64{}
	area := record.Rect{}
	for i, g := range run.Gaugings {
		if i == 0 {
			area = record.Rect{X0: g.Place.U, X1: g.Place.U, Y0: g.Place.V, Y1: g.Place.V}
		}
		area = record.Rect{X0: min(area.X0, g.Place.U), X1: max(area.X1, g.Place.U), Y0: min(area.Y0, g.Place.V), Y1: max(area.Y1, g.Place.V)}
	}
	for i := range 5 {
		for j := range 3 {
			points = append(points, [2]float64{area.X0 + area.W()*float64(i)/4, area.Y0 + area.H()*float64(j)/2})
		}
	}
	gaps, err := w.api.Gap(t.Context(), o.Run.ID, points)
	if err != nil {
		t.Fatal(err)
	}
	truth := printer.Truth()
	for i, g := range gaps {
		if g.Gap == nil {
			continue
		}
		if e := *g.Gap - truth.Gap(points[i][0], points[i][1]); e > 2**g.U95+0.002 || e < -2**g.U95-0.002 {
			t.Errorf("at %v: %.3f ±%.3f, off by %.3f", points[i], *g.Gap, *g.U95, e)
		}
	}
	t.Logf("%s seed %d: %d records, %s", sc.Name, seed, len(run.Gaugings), row.finding)
	return row
}

// leanRules holds the order of places to the rules of gauging.
func leanRules(t *testing.T, run record.Run) {
	t.Helper()
	gs := run.Gaugings
	if len(gs) == 0 || len(gs) > 20 {
		t.Errorf("%d records", len(gs))
		return
	}
	zero := run.Setup.Zero
	if gs[0].Place.Distance(zero) > 0.1 {
		t.Errorf("begins at %v", gs[0].Place)
	}
	seen := map[record.Place]bool{zero: true}
	for i, g := range gs[1:] {
		most := 120.0
		if len(seen) < 3 { // the model says nothing yet
			most = 80
		}
		if !slices.ContainsFunc(gs[:i+1], func(q record.Gauging) bool { return q.Place.Distance(g.Place) <= most+1e-9 }) {
			t.Errorf("reading %d at %v is farther than %.0f mm from those before", i+2, g.Place, most)
		}
		seen[g.Place] = true
	}
	if run.Did(record.StepGauging) && !slices.ContainsFunc(gs[max(1, len(gs)-6):], func(q record.Gauging) bool { return q.Place.Distance(zero) < 1 }) {
		t.Error("the zero place was not gauged again")
	}
}
