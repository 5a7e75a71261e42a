package run

import (
	"fmt"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/probe"
	"abbed/probe/record"
)

// heatOf returns what a run shall heat: what was asked, and for what was left out
// the owner's settings. nil heats nothing.
func (d *Runner) heatOf(asked *api.Heat) (*record.Heat, error) {
	if asked == nil {
		return nil, nil
	}
	s := d.o.Owner().Heat
	want := record.Heat{Nozzle: s.Nozzle, Bed: s.Bed}
	if asked.Nozzle != nil {
		want.Nozzle = *asked.Nozzle
	}
	if asked.Bed != nil {
		want.Bed = *asked.Bed
	}
	for _, h := range []struct {
		what        string
		value, most float64
	}{{"nozzle", want.Nozzle, s.NozzleMax}, {"bed", want.Bed, s.BedMax}} {
		if !(h.value >= 0 && h.value <= h.most) {
			return nil, api.Errorf(422, "too-hot", fmt.Sprintf("ask for 0 to %.0f °C; the limit is the setting heat.%s_max, and the maker's own limit comes first", h.most, h.what),
				"start a run: heat the %s to %.0f °C", h.what, h.value)
		}
	}
	if !want.Any() {
		return nil, api.Errorf(422, "bad-value", `name a temperature, as {"heat":{"bed":60}}, or leave heat out`, "start a run: heat was asked for, and no temperature is given or set")
	}
	return &want, nil
}

// cautions are what a person confirms before a run moves.
func cautions(run record.Run) []api.Caution {
	if run.Heat == nil {
		return runCautions
	}
	h := run.Heat
	return append(runCautions[:len(runCautions):len(runCautions)], api.Caution{ID: "heats", Text: fmt.Sprintf(
		"abbed heats: nozzle %s, bed %s. Hot metal burns the skin at once. I keep my hands off and stay with the printer. A stop request may leave the heat on.",
		celsius(h.Nozzle), celsius(h.Bed))})
}

func celsius(c float64) string {
	if c <= 0 {
		return "not heated"
	}
	return "to " + say.Temp(c)
}

// heatLimits bounds what a run may heat.
func (d *Runner) heatLimits() probe.HeatLimits {
	s := d.o.Owner().Heat
	return probe.HeatLimits{Nozzle: s.NozzleMax, Bed: s.BedMax, Time: s.Time}
}
