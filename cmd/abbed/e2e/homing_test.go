package e2e_test

import (
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestHomingRefused: a printer that answers a homing with a sentence and an ok,
// and does not home. Nothing but the position tells it. The run fails and says
// so, and no more was ordered of the unhomed machine than to go up once; one that
// homes when asked again is used.
func TestHomingRefused(t *testing.T) {
	for name, c := range map[string]struct {
		refused []string
		lost    bool // the run fails
	}{
		"always": {[]string{"G28", "G28:2", "G28:3"}, true},
		"once":   {[]string{"G28"}, false},
	} {
		t.Run(name, func(t *testing.T) {
			sc, err := bench.Lookup("healthy")
			if err != nil {
				t.Fatal(err)
			}
			dir := memoryDir(t)
			synctest.Test(t, func(t *testing.T) {
				o := bench.Options{Seed: 3}
				for _, when := range c.refused {
					o.Faults = append(o.Faults, bench.Fault{Name: "refused", When: when})
				}
				printer := bench.New(sc, o)
				var mu sync.Mutex
				var motions []string
				w := open(t, dir, sc, &cable{printer: printer, trace: func(dir, line string) {
					mu.Lock()
					defer mu.Unlock()
					if dir == ">" && (strings.Contains(line, "G0 ") || strings.Contains(line, "G1 ") || strings.Contains(line, "G30")) {
						motions = append(motions, line)
					}
				}})
				defer w.close()
				ready(t, w)
				p := &demo.Person{API: w.api, Feel: printer.Blade, Name: "the played person"}
				run, err := p.Measure(t.Context(), "repeat")
				if err != nil {
					t.Fatal(err)
				}
				if c.lost != (run.State == api.Failed) || c.lost && run.Error.Code != "not-homed" {
					t.Errorf("the run is %s: %+v", run.State, run.Error)
				}
				if got := printer.Safety().Unhomed; got > 1 {
					t.Errorf("%d moves were ordered while unhomed", got)
				}
				mu.Lock()
				defer mu.Unlock()
				if c.lost && (len(motions) > 1 || strings.ContainsAny(strings.Join(motions, ""), "XY")) {
					t.Errorf("ordered of an unhomed machine: %q", motions)
				}
			})
		})
	}
}
