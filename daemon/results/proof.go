package results

import (
	"fmt"
	"math"

	"abbed/config/say"
	"abbed/probe"
	"abbed/probe/record"
)

// proofSays says how a proof ended.
func proofSays(run record.Run) string {
	shown, ok := probe.Proved(run)
	switch {
	case !ok:
		return "No reading was taken, so the correction is not verified."
	case shown.Proved:
		return fmt.Sprintf("Verified. The nozzle is %s at %s.", say.Too(shown.Off), run.Proof.Place)
	}
	why, text, hint := NotProved(run, shown)
	return "Not verified. " + say.Sentence(hint) + " " + say.Sentence(why) + " " + say.Sentence(text)
}

// NotProved says why a proof failed, what it showed, and what to do.
func NotProved(run record.Run, shown probe.Shown) (why, text, hint string) {
	tolerance := run.Setup.Criteria.Tolerance
	text = fmt.Sprintf("The nozzle is %s (%s) at %s", say.Too(shown.Off), say.PM(shown.U95), run.Proof.Place)
	if shown.Level != nil {
		text += fmt.Sprintf(", and %s at the zero point", say.Too(*shown.Level))
	}
	switch {
	case math.Abs(shown.Off) <= tolerance:
		return "It is within the tolerance, but not known well enough", text, "verify it again with a feeler gauge, and take more readings"
	case shown.Levelled:
		return "The level changed, not the tilt", text,
			fmt.Sprintf("let the printer warm up, set its Z offset %s, and verify again", say.Goes(-*shown.Level))
	case math.Abs(shown.Off)-tolerance < shown.U95:
		return fmt.Sprintf("The readings do not show whether it is within %s", say.MM(tolerance)), text,
			"watch the first layer there. If it is wrong, undo the correction and measure again"
	}
	return "The nozzle is not where it should be", text, "undo the correction, then measure again"
}
