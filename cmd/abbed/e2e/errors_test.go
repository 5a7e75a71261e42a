package e2e_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/demo"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// TestTellError: a fact is said once, as a sentence, and the hint is that of a terminal.
func TestTellError(t *testing.T) {
	for name, c := range map[string]struct {
		err  error
		want string
	}{
		"of a command":       {console.Usage(errors.New("carry: the table is empty")), "abbed carry: The table is empty.\n"},
		"of none":            {errors.New("listen on 127.0.0.1:8077: it is taken"), "abbed: Listen on 127.0.0.1:8077: it is taken.\n"},
		"as it is typed":     {errors.New("--printer \"x\": there is left; abbed setup NAME sets a printer up"), "abbed: --printer \"x\": there is left; abbed setup NAME sets a printer up.\n"},
		"a hint of its own":  {api.Errorf(409, "unopened", "POST printer/open", "measure: the port waits"), "abbed measure: The port waits.\n    Open the page, and let it open the port there, while nothing prints.\n"},
		"the hint for all":   {api.Errorf(422, "bad-value", "give lengths in mm", "x is no length"), "abbed: X is no length.\n    Give lengths in mm.\n"},
		"wrapped":            {fmt.Errorf("compare: b is no file here: %w", api.Errorf(404, "not-found", "GET runs lists them", "no run \"b\"")), "abbed compare: B is no file here: no run \"b\".\n"},
		"a run that is none": {api.Errorf(404, "not-found", "GET runs lists them", "no run \"b\""), "abbed: No run \"b\".\n    abbed runs lists them.\n"},
	} {
		var out strings.Builder
		commands.TellError(&out, c.err)
		if got := out.String(); name != "wrapped" && got != c.want || !strings.HasPrefix(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// TestLevelOnTheTerminal: the Z offset is too high or too low by a size, never by a signed one.
func TestLevelOnTheTerminal(t *testing.T) {
	for _, c := range []struct {
		z, half float64
		want    string
	}{
		{0.05, 0.01, "level: the Z offset is 0.05 mm too high, ±0.01 mm\n"},
		{-0.05, 0.01, "level: the Z offset is 0.05 mm too low, ±0.01 mm\n"},
		{-0.006, 0.014, "level: the Z offset is right to within 0.02 mm\n"},
	} {
		var out strings.Builder
		(&ask.Outcome{Analysis: api.Analysis{Level: &api.Measured{Value: c.z, Lo95: c.z - c.half, Hi95: c.z + c.half, Unit: "mm"}}}).Tell(&out)
		if out.String() != c.want {
			t.Errorf("%q, want %q", out.String(), c.want)
		}
	}
}

// TestRunCutByTheEnd: a run that was cut as the program ended does not ask, once the program
// runs again, to start it; and a bad disk has a plain sentence.
func TestRunCutByTheEnd(t *testing.T) {
	sc := lookup(t, "healthy")
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		printer := bench.New(sc, bench.Options{Seed: 2})
		w := open(t, dir, sc, &cable{printer: printer})
		p := &demo.Person{API: w.api, Feel: printer.Blade, Rnd: rand.New(rand.NewPCG(1, 2)), Name: "the played person"}
		ctx, cut := context.WithCancel(t.Context())
		p.Seen = func(r api.Run) {
			if r.Touches > 5 {
				cut()
			}
		}
		_, _ = p.Measure(ctx, "repeat")
		w.close()
		w = open(t, dir, sc, &cable{printer: printer})
		defer w.close()
		ready(t, w)
		runs, err := w.api.Runs(t.Context())
		if err != nil || len(runs) != 1 || runs[0].Error == nil {
			t.Fatalf("%+v, %v", runs, err)
		}
		text := fmt.Sprint(runs[0].Error, w.screen(t, "/run/"+runs[0].ID))
		if strings.Contains(strings.ToLower(text), "start abbed") || !strings.Contains(strings.ToLower(text), "start a new run") {
			t.Errorf("%+v: %s", runs[0].Error, text)
		}
	})
	if text := api.Codes["store"]; strings.Contains(text, "nothing") {
		t.Errorf("the code of a bad disk: %q", text)
	}
}
