package results

import (
	"strings"
	"testing"

	"abbed/probe"
	"abbed/probe/record"
)

// A proof that failed says what failed: the level, the table, or only the knowledge.
func TestNotProved(t *testing.T) {
	level := 0.047
	run := record.Run{Setup: record.Setup{Criteria: record.DefaultCriteria()}, Proof: &record.Proof{Place: record.Place{U: 20, V: 30}}}
	for name, c := range map[string]struct {
		shown      probe.Shown
		why, hint  string
		high, told string
	}{
		"the level":       {probe.Shown{Off: 0.050, U95: 0.021, Level: &level, LevelU95: 0.021, Levelled: true}, "level changed", "Z offset 0.05 mm lower", "0.05 mm too high (±0.02 mm)", "0.05 mm too high at the zero point"},
		"the table":       {probe.Shown{Off: -0.060, U95: 0.021}, "not where it should be", "undo", "0.06 mm too low (±0.02 mm)", ""},
		"not told":        {probe.Shown{Off: 0.032, U95: 0.010}, "do not show", "watch the first layer", "0.03 mm too high (±0.01 mm)", ""},
		"known too badly": {probe.Shown{Off: 0.010, U95: 0.036}, "not known well enough", "take more readings", "0.01 mm too high (±0.04 mm)", ""},
	} {
		why, text, hint := NotProved(run, c.shown)
		if !strings.Contains(why, c.why) || !strings.Contains(hint, c.hint) || !strings.Contains(text, c.high) || !strings.Contains(text, c.told) {
			t.Errorf("%s: %q, %q, %q", name, why, text, hint)
		}
	}
}
