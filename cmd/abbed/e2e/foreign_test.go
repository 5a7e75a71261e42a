package e2e_test

import (
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestPrinting: while a print runs from the printer's own storage nothing moves
// and nothing is written, whatever is confirmed.
func TestPrinting(t *testing.T) {
	sc, err := bench.Lookup("twist-level")
	if err != nil {
		t.Fatal(err)
	}
	sc.Printing = true
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 2})
		w := open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		ready(t, w)
		p := &demo.Person{API: w.api, Feel: printer.Blade, Name: "the played person"}
		run, err := p.Measure(t.Context(), "repeat", "gauging", "survey")
		if err != nil || run.State != api.Failed || run.Error == nil || run.Error.Code != "foreign-use" || run.Error.Hint == "" {
			t.Errorf("the run: %s, %+v, %v; want failed with foreign-use", run.State, run.Error, err)
		}
		if s := printer.Safety(); s.Homes > 0 || s.Touches > 0 || s.Unhomed > 0 || !s.Levelling == sc.LevelledStart {
			t.Errorf("something moved, or was switched: %+v", s)
		}
	})
}
