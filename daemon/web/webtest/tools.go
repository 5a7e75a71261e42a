package webtest

import (
	"context"
	"fmt"

	"abbed/daemon/api"
)

// Repair says what the desk says of every run.
func (d *Desk) Repair(id string, a api.AskRepair) (api.Repair, error) {
	if fmt.Sprint(a) != fmt.Sprint(api.AskRepair{}) {
		d.note("Repair", id, a)
	}
	return of(d, "Repair", d.look().Repair, id)
}

// ProofPrint is the same for every run.
func (d *Desk) ProofPrint(a api.AskPrint) (api.ProofPrint, error) {
	if a.Run == "" {
		return of(d, "ProofPrint", d.look().Print)
	}
	return of(d, "ProofPrint", d.look().Print, a.Run)
}

// Thickness notes what was read.
func (d *Desk) Thickness(_ context.Context, id string, t api.Thickness, by string) (api.Proof, error) {
	if _, err := d.Run(id); err != nil {
		return api.Proof{}, err
	}
	return d.look().Proof, d.do("Thickness", id, t, by)
}

// toolCautions are those of the repair desk.
var toolCautions = []string{
	"Before any work: switch off, unplug, and let nozzle and bed cool below 43 °C.",
	"The maker's instructions come first. Leave mains wiring, heaters and frames under load to qualified people.",
	"Hold the head and the beam before you loosen what carries them.",
	"After any work: move the head by hand over its whole travel. It moves freely, and no cable pulls. Then switch on.",
}

// nothingToShim is a machine that needs nothing.
func nothingToShim() api.Repair {
	return api.Repair{Cautions: toolCautions, Steps: []api.RepairStep{}, Largest: &api.Measured{Value: 0.012, U: 0.004, Lo95: 0, Hi95: 0.02, Unit: "mm"},
		Why: "There is nothing to do with tools: the nozzle error is at most 0.02 mm, and the limit is 0.03 mm.", Missing: "Say where the screws of the bed are (setting desk.supports), and you get their turns."}
}

// twistToShim is what the desk says of a twisted beam (the words are those of a
// virtual printer's run).
func twistToShim() api.Repair {
	r := nothingToShim()
	r.Why, r.Missing = "", ""
	num := func(v, u float64, unit string) *api.Measured {
		return &api.Measured{Value: v, U: u, Lo95: v - 2*u, Hi95: v + 2*u, Unit: unit}
	}
	r.Largest = num(0.2, 0.008, "mm")
	r.Steps = []api.RepairStep{
		{ID: "profile", Title: "If you can take the profile out, check it on a flat reference first.", Amount: num(0.14, 0.008, "mm"), Do: []string{
			"Take brackets and rails off. Lay it as it is mounted, the same side up. A twisted one rests on its front right and back left corners, and rocks.",
			"Press the front left corner down. The gap under the back right corner is 0.14 ±0.02 mm, if only the profile is twisted. A feeler gauge of 0.10 mm goes under it. One of 0.20 mm does not.",
		}, Then: "If the gap is smaller, brackets or Y axis tilt the head as well. The shim undoes all of them."},
		{ID: "shim", Title: "Put a shim of 0.16 mm under every front screw of the right bracket.", Amount: num(0.16, 0.005, "mm"), Left: num(0.02, 0.01, "mm"), Do: []string{
			"Stack foil to that thickness. Check the stack with a micrometer.",
			"Put it under the whole seat of the screws. Tighten all screws of the bracket in turn, a little each time.",
		}, Then: "The largest nozzle error in the new run has to be at most 0.04 mm. Now it is 0.18 mm to 0.21 mm."},
		{ID: "measure", Title: "Measure again: repeat, gauging and survey.", Do: []string{}, Then: "The bed's screws, the Z offset and the correction come after that run."},
	}
	return r
}

// print is a proof print of three patches, one at the zero place.
func print() api.ProofPrint {
	sheet := `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Worksheet</title><style>body{margin:1cm}</style></head><body><main><h1>Worksheet</h1></main></body></html>`
	return api.ProofPrint{Plan: "0badcafe", Patches: []api.ProofPatch{{N: 1, U: 117.5, V: 117.5, Zero: true}, {N: 2, U: 190, V: 117.5}, {N: 3, U: 30, V: 117.5}}, Size: 20, Height: 0.2, Area: 432, InForce: "none",
		Cautions: []string{"Stay beside the printer while it prints. Nozzle and bed burn.", "Let the bed cool before you take the patches off, or they stretch."}, File: "G28\n",
		A4: sheet, Letter: sheet}
}

// proof is what one reading of each patch tells.
func proof() api.Proof {
	was := 0.11
	return api.Proof{Verdict: "cannot-tell", Gaps: []api.XY{}, Missing: []api.XY{}, Sentence: "The patches do not show whether the correction is right. At X 190, Y 117.5 the nozzle is 0.10 mm too high (±0.02 mm). The limit is 0.03 mm.", Doubt: "Known to ±0.02 mm from 2 patches.", Next: "Take a reading at X 190, Y 117.5 with the correction in force. Or print the patches again on a clean bed.",
		Patches: []api.LeftOver{{U: 117.5, V: 117.5, Readings: 1, Thickness: 0.204, U95: 0.021}, {U: 190, V: 117.5, Readings: 1, Thickness: 0.299, Error: 0.095, U95: 0.021, Predicted: &was}}}
}

// Readings notes what was read.
func (d *Desk) Readings(_ context.Context, id string, r api.Readings, by string) (api.ReadingsKept, error) {
	if _, err := d.Run(id); err != nil {
		return api.ReadingsKept{}, err
	}
	return api.ReadingsKept{Rolls: len(r.Readings), Tells: []string{"the roll of the head (angles): it was read."}}, d.do("Readings", id, r, by)
}
