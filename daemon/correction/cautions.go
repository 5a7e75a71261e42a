package correction

import (
	"fmt"

	"abbed/analysis"
	"abbed/daemon/api"
)

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

// keepsOther is cautionsMissing where the printer's settings have changed since
// they were shown.
func keepsOther(ids []string) *api.Error {
	e := api.Errorf(422, "cautions-missing", "look at the table again: it shows what would be kept now; then sign off",
		"the printer's settings are not those that were shown: keeping would store others. Not confirmed: %v", ids)
	e.Missing = ids
	return e
}
