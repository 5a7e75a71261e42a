package webtest

import (
	"context"
	"fmt"
	"strings"

	"abbed/daemon/api"
)

// Repair says what the desk says of every run.
func (d *Desk) Repair(id string, a api.AskRepair) (api.Repair, error) {
	if fmt.Sprint(a) != fmt.Sprint(api.AskRepair{}) {
		d.note("Repair", id, a)
	}
	if _, err := d.Run(id); err != nil {
		return api.Repair{}, err
	}
	return d.look().Repair, d.refused("Repair")
}

// ProofPrint is the same for every run.
func (d *Desk) ProofPrint(id, _ string) (api.ProofPrint, error) {
	if id != "" {
		if _, err := d.Run(id); err != nil {
			return api.ProofPrint{}, err
		}
	}
	return d.look().Print, d.refused("ProofPrint")
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
	"Before any work: switch off, unplug, and let nozzle and bed cool below 43 C.",
	"The maker's instructions come first; mains wiring, heaters and frames under load are for qualified people.",
	"Hold the head and the beam before you loosen what carries them.",
	"After any work: the head moves freely by hand over its whole travel, no cable pulls, before power comes on again.",
}

// nothingToShim is a machine of which only what every machine bears is told.
func nothingToShim() api.Repair {
	return api.Repair{Cautions: toolCautions, TwistWhy: "No twist of the beam was found that could be shimmed away.", TramWhy: "Say where the screws of the bed stand (the setting desk.supports), and the turns are worked out.",
		Advice: []api.HandAdvice{{Title: "Wheels", Steps: []string{"Turn each wheel by hand with the head held: it turns with a light drag, and evenly.", "Look for flats and for dust in the running groove."}}}}
}

// twistToShim is what the desk says of a twisted beam (the words are those of a
// virtual printer's run).
func twistToShim() api.Repair {
	r := nothingToShim()
	num := func(v, u float64, unit string) api.Measured {
		return api.Measured{Value: v, U: u, Lo95: v - 2*u, Hi95: v + 2*u, Unit: unit}
	}
	r.TwistWhy, r.TramWhy = "", ""
	r.Twist = &api.Twist{From: 20, To: 190, Roll: num(0.464, 0.008, "deg"), High: "back", Mounting: 219, Rocking: num(0.162, 0.003, "mm"), BladeIn: 0.15, BladeOut: 0.2,
		AllowedDeg: 0.657, TwistDeg: num(0.464, 0.008, "deg"), Shim: num(0.162, 0.003, "mm"), Under: "front", Costs: num(0.364, 0.006, "mm"), After: num(0.004, 0.015, "mm"),
		Says: strings.Join([]string{
			"The head rolls by +0.464 \u00b10.016 deg from x=20 to x=190 mm (+: its back rises to the right).",
			"First confirm it on the bench: the bare profile, 20 mm wide, over 219 mm on a flat reference should rock by 0.162 \u00b10.005 mm; a feeler gauge of 0.15 mm goes in; one of 0.20 mm does not.",
			"If it does not, the brackets or what they stand on are twisted, and not the profile.",
			"Shim: 0.162 \u00b10.005 mm under the front fasteners (20 mm apart) of the right bracket, or under the back ones of the left.",
			"Now it costs 0.364 \u00b10.012 mm from end to end; with a shim of 0.16 mm 0.004 \u00b10.029 mm should be left. Afterwards tram the bed, set the Z offset, and measure again: that has to lie within the doubt of both.",
		}, "\n")}
	r.Tram = &api.Tram{SlopeX: num(-0.002, 0.0015, "mm/100mm"), SlopeY: num(0.03, 0.003, "mm/100mm"), Off: 0.004, Pitch: 0.7,
		Supports: []api.TramSupport{
			{X: 30, Y: 30, Says: "x=30 y=30: stays."},
			{X: 205, Y: 30, Up: num(0.003, 0.003, "mm"), Says: "x=205 y=30: up by 0.003 \u00b10.006 mm, 0.00 \u00b10.01 turns (within its doubt: leave it)."},
			{X: 30, Y: 205, Up: num(-0.053, 0.005, "mm"), Sure: true, Says: "x=30 y=205: down by 0.053 \u00b10.010 mm, 0.08 \u00b10.01 turns."},
			{X: 205, Y: 205, Up: num(-0.05, 0.006, "mm"), Sure: true, Follows: true, Says: "x=205 y=205: down by 0.050 \u00b10.012 mm, 0.07 \u00b10.02 turns; it only follows: bring it up last."},
		}, Says: "As the nozzle sees the bed, not as the probe does. Builds differ: try an eighth of a turn and look which way the bed goes."}
	r.Advice = append(r.Advice, api.HandAdvice{Title: "Rails and beam", Steps: []string{"Sight along the beam from one end, with a straight edge across each end.", "Slacken the fasteners of one bracket, let the beam come to rest, and tighten them crosswise."}})
	return r
}

// print is a proof print of three patches, one at the zero place.
func print() api.ProofPrint {
	return api.ProofPrint{Plan: "0badcafe", Patches: []api.ProofPatch{{N: 1, U: 117.5, V: 117.5, Zero: true}, {N: 2, U: 190, V: 117.5}, {N: 3, U: 30, V: 117.5}}, Size: 20, Height: 0.2, Area: 432, InForce: "none",
		Cautions: []string{"Stay beside the printer while it prints; nozzle and bed burn.", "Let the bed cool before you take the patches off, or they stretch."}, File: "G28\n",
		A4:     `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Worksheet</title><style>body{margin:1cm}</style></head><body><main><h1>Worksheet</h1></main></body></html>`,
		Letter: `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Worksheet</title><style>body{margin:1cm}</style></head><body><main><h1>Worksheet</h1></main></body></html>`}
}

// proof is what one reading of each patch tells.
func proof() api.Proof {
	was := 0.11
	return api.Proof{Verdict: "cannot-tell", Gaps: []api.XY{}, Missing: []api.XY{}, Sentence: "The patches cannot tell yet: their readings scatter more than the nozzle error.", Doubt: "\u00b10.021 mm at a patch", Next: "Read each patch twice more, at its middle.",
		Patches: []api.LeftOver{{U: 117.5, V: 117.5, Readings: 1, Thickness: 0.204, U95: 0.021}, {U: 190, V: 117.5, Readings: 1, Thickness: 0.299, Error: 0.095, U95: 0.021, Predicted: &was}}}
}

// Readings notes what was read.
func (d *Desk) Readings(_ context.Context, id string, r api.Readings, by string) (api.ReadingsKept, error) {
	if _, err := d.Run(id); err != nil {
		return api.ReadingsKept{}, err
	}
	return api.ReadingsKept{Rolls: len(r.Readings), Tells: []string{"the roll of the head (angles): it was read."}}, d.do("Readings", id, r, by)
}
