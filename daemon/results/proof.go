package results

import (
	"fmt"
	"math"

	"abbed/probe"
	"abbed/probe/record"
)

// proofSays says how a proof ended.
func proofSays(run record.Run) string {
	shown, ok := probe.Proved(run)
	switch {
	case !ok:
		return "Nothing was recorded, so that nothing is proved or disproved."
	case shown.Proved:
		return fmt.Sprintf("Proved: with the correction in force the nozzle is %s at %s, within the tolerance of %.3f mm.",
			offBy(shown.Off, shown.U95), run.Proof.Place, run.Setup.Criteria.Tolerance)
	}
	why, text, hint := NotProved(run, shown)
	return "Not proved: " + why + ". Gauged: " + text + ". Next: " + hint + "."
}

// NotProved says why a proof failed, what it showed, and what to do.
func NotProved(run record.Run, shown probe.Shown) (why, text, hint string) {
	tolerance := run.Setup.Criteria.Tolerance
	text = "with the correction in force the nozzle is " + offBy(shown.Off, shown.U95) + " at " + run.Proof.Place.String()
	if shown.Level != nil {
		text += ", and " + offBy(*shown.Level, shown.LevelU95) + " at the zero place, where it moves nothing"
	}
	switch {
	case math.Abs(shown.Off) <= tolerance:
		return "it is within the tolerance, but known too coarsely to prove anything", text, "prove it again with a feeler gauge, or record more often"
	case shown.Levelled:
		way := "higher"
		if *shown.Level > 0 {
			way = "lower"
		}
		return "the level has changed, not the tilt", text,
			fmt.Sprintf("let the printer warm up, set its Z offset %s (by %.3f ±%.3f mm), and prove it again", way, math.Abs(*shown.Level), shown.LevelU95)
	case math.Abs(shown.Off)-tolerance < shown.U95:
		return fmt.Sprintf("whether it is within the tolerance of %.3f mm the records do not tell", tolerance), text,
			"watch the first layer there; where it is wrong, undo the correction, then measure again"
	}
	return "the nozzle is not where it should be", text, "undo the correction, then measure again"
}

// offBy says how the nozzle lies that is off by so much, mm, with its doubt.
func offBy(off, u95 float64) string {
	way := "low"
	if off > 0 {
		way = "high"
	}
	return fmt.Sprintf("%.3f mm ±%.3f mm too %s", math.Abs(off), u95, way)
}
