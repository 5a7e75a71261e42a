package run

import (
	"context"
	"fmt"
	"strings"

	"abbed/analysis"
	"abbed/analysis/proof"
	"abbed/daemon/api"
	"abbed/daemon/results"
	"abbed/gcode/patches"
	"abbed/probe/record"
)

// ProofPrint makes the file of a proof print over the area that a run has gauged, or over
// the reach without one.
func (d *Runner) ProofPrint(a api.AskPrint) (api.ProofPrint, error) {
	if a.InForce == "" {
		a.InForce = "none"
		if d.corr.InForce() != nil {
			a.InForce = "map"
		}
	}
	j := analysis.Judged{Run: record.Run{Setup: d.o.Known(d.link.Now().Facts).Setup}}
	if a.Run != "" {
		var err error
		if j, err = d.shelf.Judged(a.Run); err != nil {
			return api.ProofPrint{}, err
		}
	}
	p, err := d.patches(j)
	if err != nil {
		return api.ProofPrint{}, err
	}
	return results.Printed(p, j.Verdict, a.InForce)
}

func (d *Runner) patches(j analysis.Judged) (patches.Print, error) {
	p, err := results.Patches(d.o.Owner(), j.Run, j.Verdict, strings.TrimSpace(d.o.Words.Levelling(true).Text()))
	if err != nil {
		return p, api.Errorf(422, "no-proof-print", "change the settings that it names, then ask again", "make the proof print: %v", err)
	}
	return p, nil
}

// Thickness takes the readings of a proof print, keeps them with the run, and says what they
// prove. Without a correction in force they join the run's fit.
func (d *Runner) Thickness(ctx context.Context, id string, t api.Thickness, by string) (api.Proof, error) {
	corrected, ok := api.Corrected(t.InForce)
	if !ok {
		return api.Proof{}, api.Errorf(422, "bad-value", "none, map or file", "thickness: \"in_force\" %q: whether a correction was in force has to be said", t.InForce)
	}
	j, err := d.shelf.Judged(id)
	if err != nil {
		return api.Proof{}, err
	}
	if j.Run.Ended == nil {
		return api.Proof{}, api.Errorf(409, "wrong-state", "wait until the run has ended", "thickness: run %s goes on", id)
	}
	readings, err := d.placed(j, t)
	if err != nil {
		return api.Proof{}, err
	}
	plan, _ := d.patches(j) // none is judged by its area
	r, err := proof.Judge(readings, results.Case(j.Run, j.Verdict, corrected, plan))
	if err != nil {
		return api.Proof{}, api.Errorf(422, "bad-value", "look at the readings", "%v", err)
	}
	if err := d.keepThickness(ctx, id, readings, corrected, t, by); err != nil {
		return api.Proof{}, err
	}
	return results.Proved(r), nil
}

// placed gives each reading its place.
func (d *Runner) placed(j analysis.Judged, t api.Thickness) ([]proof.Reading, error) {
	var out []proof.Reading
	if t.CSV != "" {
		r, err := proof.ReadCSV(strings.NewReader(t.CSV))
		if err != nil {
			return nil, api.Errorf(422, "bad-value", "a header patch,thickness or u,v,thickness, and a line for each reading", "%v", err)
		}
		out = r
	}
	for i, r := range t.Readings {
		if (r.U == nil) != (r.V == nil) || (r.U == nil) == (r.Patch == 0) {
			return nil, api.Errorf(422, "bad-value", "give patch, or u and v", "thickness: reading %d names no patch and no place, or both", i+1)
		}
		p := proof.Reading{Patch: r.Patch, MM: r.Thickness, Gaps: r.Gaps}
		if r.U != nil {
			p.U, p.V = *r.U, *r.V
		}
		out = append(out, p)
	}
	if len(out) == 0 {
		return nil, api.Errorf(422, "bad-value", "give readings, or csv", "thickness: there is no reading")
	}
	numbered := false
	for _, r := range out {
		if err := proof.Check(r); err != nil {
			return nil, api.Errorf(422, "bad-value", "look at that reading", "thickness: %v", err)
		}
		numbered = numbered || r.Patch != 0
		if r.Patch == 0 && !j.Run.Setup.Bed.Has(record.Place{U: r.U, V: r.V}) {
			return nil, api.Errorf(422, "bad-value", "u and v are mm on the bed", "thickness: (%.1f, %.1f) is not on the bed", r.U, r.V)
		}
	}
	if !numbered {
		return out, nil
	}
	p, err := d.patches(j)
	if err != nil {
		return nil, err
	}
	return results.Numbered(p, t.Plan, out)
}

// keepThickness adds the readings to the run: each as it was read in a note, the mean of each
// patch as a reading of the gap.
func (d *Runner) keepThickness(ctx context.Context, id string, readings []proof.Reading, corrected bool, t api.Thickness, by string) error {
	return d.keepBeside(ctx, id, by, "thickness of a proof print", func(run record.Run) ([]record.Event, string) {
		number := 1
		for _, r := range run.Readings {
			number = max(number, r.Print+1)
		}
		var raw strings.Builder
		fmt.Fprintf(&raw, "proof print %d read by %s, in force: %s; u,v,thickness:", number, t.Person, t.InForce)
		for _, r := range readings {
			if r.Gaps {
				fmt.Fprintf(&raw, " %.2f,%.2f,gaps", r.U, r.V)
				continue
			}
			fmt.Fprintf(&raw, " %.2f,%.2f,%.4f", r.U, r.V, r.MM)
		}
		events := []record.Event{{Note: &record.Note{Text: raw.String()}}}
		ps, _, _ := proof.Patches(readings)
		for _, p := range ps {
			if p.N == 0 {
				continue // gaps: in the note, and no height
			}
			events = append(events, record.Event{Reading: &record.Reading{Quantity: record.QuantityCoupon, Place: record.Place{U: p.U, V: p.V},
				Value: p.MM, U: p.Doubt, Print: number, Corrected: corrected}})
		}
		return events, fmt.Sprintf("run %s, %d readings of %d patches, in force: %s, person %s", id, len(readings), len(ps), t.InForce, t.Person)
	})
}
