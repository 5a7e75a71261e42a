package daemon

import (
	"fmt"
	"slices"

	"abbed/analysis"
	"abbed/config/say"
	"abbed/daemon/api"
)

// runCautions are confirmed by a person before anything moves.
var runCautions = []api.Caution{
	{ID: "bed-clear", Text: "The bed is clear: no print, no tool, no clip."},
	{ID: "head-free", Text: "The head and the bed move freely, and hands stay out."},
	{ID: "power-switch", Text: "I can reach the printer's power switch."},
}

// tableCautions are confirmed before a correction is written.
func tableCautions(t analysis.Table, k *api.Keeps) []api.Caution {
	lowest := 0.0
	if n, ok := t.Deepest(t.Adds()); ok {
		lowest = float64(n.Add) / 1000
	}
	return []api.Caution{
		{ID: "nozzle-crash", Text: fmt.Sprintf("I looked at the maps. The nozzle goes at most %s lower; a wrong correction drives it into the bed.", say.MM(max(0, -lowest)))},
		{ID: keepsID(k), Text: keepsAll(k)},
		{ID: "watch-first-layer", Text: "I will watch the next first layer from its start, with the power switch in reach."},
		{ID: "undo", Text: "Undo writes the old bed map back, and leaves the printer's other settings alone."},
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
	e := api.Errorf(422, "cautions-missing", "read each caution and confirm all of them", "not every caution is confirmed: %v", ids)
	e.Missing = ids
	return e
}

// keepsOther is cautionsMissing where the printer's settings have changed since
// they were shown.
func keepsOther(ids []string) *api.Error {
	e := api.Errorf(422, "cautions-missing", "look at the correction again, then approve it",
		"the printer's settings changed since they were shown. Not confirmed: %v", ids)
	e.Missing = ids
	return e
}
