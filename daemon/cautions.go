package daemon

import (
	"fmt"
	"slices"

	"abbed/analysis"
	"abbed/daemon/api"
)

// runCautions are confirmed by a person before anything moves.
var runCautions = []api.Caution{
	{ID: "bed-clear", Text: "The bed is clear: no print, no tool, no clip within the head's way."},
	{ID: "head-free", Text: "The head and the bed move freely, and hands stay out while they move."},
	{ID: "power-switch", Text: "I can reach the printer's power switch. The stop request over USB is no emergency stop, and it may let Z sink."},
	{ID: "hot-parts", Text: "Nozzle and bed may be hot and burn the skin; I have looked."},
	{ID: "maker", Text: "The printer maker's instructions and local rules come first. Work on mains wiring, heaters and frames under load belongs to qualified people."},
}

// tableCautions are confirmed before a correction is written.
func tableCautions(t analysis.Table, k *api.Keeps) []api.Caution {
	lowest := 0.0
	if n, ok := t.Deepest(t.Adds()); ok {
		lowest = float64(n.Add) / 1000
	}
	return []api.Caution{
		{ID: "nozzle-crash", Text: fmt.Sprintf("A wrong correction drives the nozzle into the bed. I have looked at the table: it takes the nozzle down by as much as %.3f mm where it is most negative, and its largest doubt is %.3f mm.", max(0, -lowest), t.LargestU95)},
		{ID: keepsID(k), Text: keepsAll(k)},
		{ID: "watch-first-layer", Text: "I will watch the next first layer from its beginning, with the power switch within reach: until the nozzle has been gauged with the table in force, the table is unproved."},
		{ID: "undo", Text: "Undo writes the old map back, as it was printed before. It does not recall the printer's other settings."},
	}
}

// missing returns the identifiers of the cautions that are not confirmed.
func missing(all []api.Caution, confirmed []string) []string {
	var out []string
	for _, c := range all {
		if !slices.Contains(confirmed, c.ID) {
			out = append(out, c.ID)
		}
	}
	return out
}

func cautionsMissing(ids []string) *api.Error {
	e := api.Errorf(422, "cautions-missing", "read each and confirm it: send all their ids", "not every caution was confirmed: %v", ids)
	e.Missing = ids
	return e
}

// keepsOther is cautionsMissing where the printer's settings have changed since
// they were shown.
func keepsOther(ids []string) *api.Error {
	e := api.Errorf(422, "cautions-missing", "look at the table again: it shows what would be kept now; then sign off",
		"the printer's settings are not those that were shown: keeping would store others. Not confirmed: %v", ids)
	e.Missing = ids
	return e
}
