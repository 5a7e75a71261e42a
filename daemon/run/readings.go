package run

import (
	"context"
	"fmt"
	"strings"

	"abbed/analysis/given"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// Readings takes what a person read from instruments of their own, after the run:
// printed patches, the tilt of the head, touches along a straight reference. They
// are kept with the run and join its fit.
func (d *Runner) Readings(ctx context.Context, id string, r api.Readings, by string) (api.ReadingsKept, error) {
	run, err := d.shelf.Load(id)
	if err != nil {
		return api.ReadingsKept{}, err
	}
	if run.Ended == nil {
		return api.ReadingsKept{}, api.Errorf(409, "wrong-state", "wait until the run has ended", "readings: run %s goes on", id)
	}
	b, err := besideOf(r, run.Setup.Bed)
	if err != nil {
		return api.ReadingsKept{}, err
	}
	kept := counted(b)
	corrected, ok := api.Corrected(r.InForce)
	kept.Tells = append(kept.Tells, b.Replaces(run, corrected)...)
	if kept.Coupons > 0 && !ok {
		return api.ReadingsKept{}, api.Errorf(422, "bad-value", "none, map or file", "readings: \"in_force\" %q: whether a correction was in force while the coupons were printed has to be said", r.InForce)
	}
	if err := d.keepReadings(ctx, id, b, corrected, r.Person, by); err != nil {
		return api.ReadingsKept{}, err
	}
	j, err := d.shelf.Judged(id)
	if err != nil {
		return api.ReadingsKept{}, err
	}
	for _, t := range j.Verdict.Tells {
		if len(t.By) > 0 {
			kept.Tells = append(kept.Tells, fmt.Sprintf("%s (%s): %s", t.Says, strings.Join(t.By, ", "), t.Text))
		}
	}
	return kept, nil
}

// besideOf checks what was given, place by place.
func besideOf(r api.Readings, bed record.Rect) (given.Beside, error) {
	var b given.Beside
	bad := func(err error) (given.Beside, error) {
		return b, api.Errorf(422, "bad-value", "look at that line", "readings: %v", err)
	}
	if strings.TrimSpace(r.CSV) != "" {
		read, err := given.ReadReadings(strings.NewReader(r.CSV))
		if err != nil {
			return bad(err)
		}
		b.Readings = read
	}
	for i, x := range r.Readings {
		one, err := given.NewReading(record.Quantity(x.Quantity), record.Place{U: x.U, V: x.V}, x.Value, x.Doubt)
		if err != nil {
			return bad(fmt.Errorf("reading %d: %w", i+1, err))
		}
		b.Readings = append(b.Readings, one)
	}
	for _, x := range b.Readings {
		if x.Quantity == record.QuantityCoupon && bed.Valid() && !bed.Has(x.Place) {
			return bad(fmt.Errorf("%s is not on the bed; x and y are mm on it", x.Place))
		}
	}
	if ref := r.Reference; ref != nil {
		if err := b.LayCSV(strings.NewReader(ref.CSV), ref.Thickness, ref.Straight); err != nil {
			return bad(err)
		}
	}
	if len(b.Readings) == 0 && b.Reference == nil {
		return b, api.Errorf(422, "bad-value", "give readings, csv or reference", "readings: there is none")
	}
	return b, nil
}

func counted(b given.Beside) api.ReadingsKept {
	k := api.ReadingsKept{Reference: len(b.Touches), Tells: []string{}}
	for _, r := range b.Readings {
		switch r.Quantity {
		case record.QuantityCoupon:
			k.Coupons++
		case record.QuantityRoll:
			k.Rolls++
		case record.QuantityPitch:
			k.Pitches++
		}
	}
	return k
}

// keepReadings adds the readings to the log of the run, with a note of who read.
func (d *Runner) keepReadings(ctx context.Context, id string, b given.Beside, corrected bool, person, by string) error {
	return d.keepBeside(ctx, id, by, "readings of instruments", func(run record.Run) ([]record.Event, string) {
		note := fmt.Sprintf("%d readings and %d touches of a reference entered after the run by %s", len(b.Readings), len(b.Touches), person)
		return append(b.Events(run, corrected), record.Event{Note: &record.Note{Text: note}}),
			fmt.Sprintf("run %s, %d readings, %d touches of a reference, person %s", id, len(b.Readings), len(b.Touches), person)
	})
}
