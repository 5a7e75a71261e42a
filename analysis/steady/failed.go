package steady

import (
	"fmt"
	"slices"

	"abbed/analysis/result"
	"abbed/probe/record"
)

// harmless are the faults that end a run and say nothing against what was gauged
// before: the line or the program ended, the board halted or restarted, the disk took
// nothing more, or a heater was not as it should be. After any other the head may
// have stood elsewhere than it said, and for how long nobody knows: a position that
// changed by itself, a homing or a move that was not one, touches that were none,
// damaged lines.
var harmless = []string{
	"lost", "printer-silent", "printer-halted", "printer-restarted", "interrupted", "store",
	"does-not-heat", "heats-slowly", "no-temperature", "still-hot", "heat-lost",
}

// Unsound returns why what a run gauged must not be joined to another run, or nil: it
// goes on, or it failed in a way that puts in doubt what was gauged before.
func Unsound(run record.Run) *record.Problem {
	switch {
	case run.Ended == nil:
		return &record.Problem{Code: "not-ended", Text: fmt.Sprintf("run %s has not ended", run.ID), Hint: "wait until it has"}
	case run.Ended.State != record.EndFailed:
		return nil
	case len(run.Faults) == 0:
		return &record.Problem{Code: "failed", Text: fmt.Sprintf("run %s failed, and its record does not say why: where the head stood before is in doubt", run.ID), Hint: "gauge these places again"}
	}
	for _, f := range run.Faults {
		if !slices.Contains(harmless, f.Code) {
			return &record.Problem{Code: "failed", Text: fmt.Sprintf("run %s failed (%s: %s): where the head stood before is in doubt", run.ID, f.Code, f.Text), Hint: "see to the cause, then gauge these places again"}
		}
	}
	return nil
}

// Finished are the gaugings of a run that count elsewhere. In one that failed those of
// the last place do not, unless the probe has touched there again after them: until then
// the person could still have forgotten them, and what ended the run may have been at
// work.
func Finished(run record.Run) []record.Gauging {
	if run.Ended == nil || run.Ended.State != record.EndFailed {
		return run.Gaugings
	}
	touches := run.Of(record.SeriesPair)
	return result.Keep(run.Gaugings, func(g record.Gauging) bool { return len(gather(g, touches).after) > 0 })
}
