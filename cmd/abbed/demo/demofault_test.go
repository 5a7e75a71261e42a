package demo_test

import (
	"strings"
	"testing"

	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

func TestReadFaults(t *testing.T) {
	now, later, err := demo.ReadFaults([]string{"halt@survey", "lost-ok", "silence@G30:7", "busy@connect", "refused@undo", "nuls@survey"})
	if err != nil || len(now) != 3 || len(later["survey"]) != 2 || later["undo"][0].When != "M421:4" {
		t.Errorf("%v %v %v", now, later, err)
	}
	for _, bad := range []string{"", "nothing", "halt@never?", "nothing@survey", "halt@G30:0"} {
		if _, _, err := demo.ReadFaults([]string{bad}); err == nil || !strings.Contains(err.Error(), "half-open") && !strings.Contains(err.Error(), "phases") {
			t.Errorf("%q: %v", bad, err)
		}
	}
	for _, name := range bench.Faults() {
		if !strings.Contains(demo.DemoCommand().Long, "  "+name+" ") {
			t.Errorf("--help does not name %s", name)
		}
	}
}

// A fault of a phase waits for the run to come to it, and strikes once.
func TestFaultWaitsForItsPhase(t *testing.T) {
	_, later, err := demo.ReadFaults([]string{"halt@survey"})
	if err != nil {
		t.Fatal(err)
	}
	var told []string
	sc, err := bench.Lookup("beam-twist")
	if err != nil {
		t.Fatal(err)
	}
	seen, _ := later.StrikeAt(bench.New(sc, bench.Options{}), func(text string, _ ...any) { told = append(told, text) })
	for _, r := range []api.Run{
		{Step: "repeat", Progress: api.Progress{Done: 30}}, {Step: "survey"}, {Step: "survey", Progress: api.Progress{Done: 2}},
	} {
		if seen(r); len(told) > 0 {
			t.Errorf("%+v: too early", r)
		}
	}
	for range 3 {
		seen(api.Run{Step: "survey", Progress: api.Progress{Done: 3}})
	}
	if len(told) != 1 {
		t.Errorf("struck %d times", len(told))
	}
}
