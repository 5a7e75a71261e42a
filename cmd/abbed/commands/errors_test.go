package commands_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
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
