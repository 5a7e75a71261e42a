package correction

import (
	"fmt"
	"strings"

	"abbed/analysis"
	"abbed/config/say"
	"abbed/daemon/api"
)

// tableCautions are confirmed before a correction is written.
func tableCautions(t analysis.Table, k *api.Keeps) []api.Caution {
	lowest := 0.0
	if n, ok := t.Deepest(t.Adds()); ok {
		lowest = float64(n.Add) / 1000
	}
	out := []api.Caution{
		{ID: "nozzle-crash", Text: fmt.Sprintf("I looked at the maps. The nozzle goes at most %s lower. A wrong correction drives it into the bed.", say.MM(max(0, -lowest)))},
		{ID: keepsID(k), Text: keepsAll(k)},
		{ID: "watch-first-layer", Text: "I will watch the next first layer from its start, power switch in reach."},
		{ID: "undo", Text: "Undo writes the old bed map back, and leaves the printer's other settings alone."},
	}
	var at []string
	for _, n := range t.Nodes {
		if n.Doubtful {
			at = append(at, n.Place.String())
		}
	}
	if len(at) > 0 {
		out = append(out, api.Caution{ID: "map-doubtful", Text: "I will watch the first layer most at " + strings.Join(at, " and ") + ". A reading near there does not fit: probe and bed map may be wrong there (a hole, a magnet, an edge)."})
	}
	return out
}

// keepsOther is cautionsMissing where the printer's settings have changed since
// they were shown.
func keepsOther(ids []string) *api.Error {
	e := api.Errorf(422, "cautions-missing", "look at the correction again, then approve it",
		"the printer's settings changed since they were shown. Not confirmed: %v", ids)
	e.Missing = ids
	return e
}
