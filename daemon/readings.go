package daemon

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// Readings takes what a person read from instruments of their own, after the run:
// printed patches, the tilt of the head, touches along a straight reference. They
// are kept with the run and join its fit.
func (d *Daemon) Readings(ctx context.Context, id string, r api.Readings, by string) (api.ReadingsKept, error) {
	run, err := d.load(id)
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
	if kept.Coupons > 0 && r.InForce != "none" && r.InForce != "map" && r.InForce != "file" {
		return api.ReadingsKept{}, api.Errorf(422, "bad-value", "none, map or file", "readings: \"in_force\" %q: whether a correction was in force while the coupons were printed has to be said", r.InForce)
	}
	if err := d.keepReadings(ctx, id, b, r, by); err != nil {
		return api.ReadingsKept{}, err
	}
	j, err := d.judged(id)
	if err != nil {
		return api.ReadingsKept{}, err
	}
	for _, t := range j.verdict.Tells {
		if len(t.By) > 0 {
			kept.Tells = append(kept.Tells, fmt.Sprintf("%s (%s): %s", t.Says, strings.Join(t.By, ", "), t.Text))
		}
	}
	return kept, nil
}

// besideOf checks what was given, place by place.
func besideOf(r api.Readings, bed record.Rect) (analysis.Beside, error) {
	var b analysis.Beside
	bad := func(err error) (analysis.Beside, error) {
		return b, api.Errorf(422, "bad-value", "look at that line", "readings: %v", err)
	}
	if strings.TrimSpace(r.CSV) != "" {
		read, err := analysis.ReadReadings(strings.NewReader(r.CSV))
		if err != nil {
			return bad(err)
		}
		b.Readings = read
	}
	for i, x := range r.Readings {
		one, err := analysis.NewReading(record.Quantity(x.Quantity), record.Place{U: x.U, V: x.V}, x.Value, x.Doubt)
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

func counted(b analysis.Beside) api.ReadingsKept {
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
func (d *Daemon) keepReadings(ctx context.Context, id string, b analysis.Beside, r api.Readings, by string) error {
	d.starting.Lock()
	defer d.starting.Unlock()
	run, err := d.load(id)
	if err != nil {
		return err
	}
	events := b.Events(run, r.InForce != "" && r.InForce != "none")
	events = append(events, record.Event{N: run.Last + int64(len(events)) + 1, Note: &record.Note{
		Text: fmt.Sprintf("%d readings and %d touches of a reference entered after the run by %s", len(b.Readings), len(b.Touches), r.Person)}})
	for i := range events {
		events[i].Wall = time.Now().UTC().Round(time.Microsecond)
		events[i].T = math.Max(run.T, math.Round(time.Since(run.Began).Seconds()*1e6)/1e6)
	}
	if err := d.store.Append(ctx, id, events...); err != nil {
		return storeRefusal(err)
	}
	d.mu.Lock()
	delete(d.ended, id)
	d.mu.Unlock()
	d.audit(by, "readings of instruments", fmt.Sprintf("run %s, %d readings, %d touches of a reference, person %s", id, len(b.Readings), len(b.Touches), r.Person))
	d.publish()
	return nil
}
