package probe

import (
	"context"
	"errors"
	"fmt"
	"math"

	"abbed/probe/record"
)

// overReference is how high everything passes above a reference, mm.
const overReference = 1.0

// besideZero is how far the middle line of a reference stays from the zero
// place, mm: the machine homes there, and must not find a reference.
const besideZero = 40.0

// referencePasses is how often the reference is passed, always from the same
// side.
const referencePasses = 3

// reference has the person lay a straight reference along X, and touches along
// it. It is the last step that moves: after it the machine does not home.
func (j *job) reference(ctx context.Context) error {
	row := j.plan.referenceRow(j.setup, j.head.told.room(j.log.Run()))
	if err := j.begin(record.StepReference, referencePasses*len(row)); err != nil {
		return err
	}
	if len(row) < 5 {
		return j.note("no room for a reference: less than five touches fit on a row beside the zero point")
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	if err := j.head.Level(ctx, false); err != nil {
		return err
	}
	most, err := j.thickest(ctx, row)
	if err != nil {
		return err
	}
	if most < 0.5 {
		return j.note(fmt.Sprintf(
			"no reference can be passed safely: with the clearance of %.1f mm it might be %.1f mm thick at most; give a larger --clearance", j.setup.Clearance, max(most, 0)))
	}
	laid, ok, err := j.lay(ctx, row, most)
	if err != nil || !ok {
		return err
	}
	touched, err := j.pass(ctx, row, laid)
	if err != nil {
		return err
	}
	if !touched {
		if err := j.note("the probe did not find the reference, or does not see it: nothing was measured on it"); err != nil {
			return err
		}
	}
	_, err = j.away(ctx)
	return err
}

// referenceRow returns the places on a row along X beside the zero place, on the
// side with more bed.
func (p Plan) referenceRow(s record.Setup, room Room) []record.Place {
	r := s.Probed()
	v := s.Zero.V - besideZero
	if s.Zero.V-r.Y0 < r.Y1-s.Zero.V {
		v = s.Zero.V + besideZero
	}
	var out []record.Place
	for _, u := range spread(r.X0+p.Inset, r.X1-p.Inset, p.Columns) {
		if q := (record.Place{U: u, V: v}); r.Has(q) && room.At(q) >= leastRoom {
			out = append(out, q)
		}
	}
	return out
}

// thickest returns how thick a reference may be, mm, so that nothing can run
// into it: the nozzle travels, and rests after a touch, above it with the
// probe's reach and 1 mm to spare. Where the printer itself probes down until
// the probe triggers, the nozzle must also clear a reference that the probe
// does not see.
func (j *job) thickest(ctx context.Context, row []record.Place) (float64, error) {
	most := j.setup.Clearance
	if j.head.manner.Style != StyleStraight {
		rest, err := j.head.rest(ctx, j.setup.Zero)
		if err != nil {
			return 0, err
		}
		most = min(most, rest)
	}
	most -= j.setup.Trigger + overReference
	if j.head.manner.Style != StyleStraight && !j.setup.Lever.None() {
		room := j.head.told.room(j.log.Run())
		for _, p := range row {
			most = min(most, room.At(p)-leastRoom)
		}
	}
	return math.Floor(most*10) / 10, nil
}

// rest touches p and returns the height at which the printer leaves the nozzle
// afterwards, mm.
func (h *Head) rest(ctx context.Context, p record.Place) (float64, error) {
	if err := h.mayTouch(p); err != nil {
		return 0, err
	}
	if _, err := h.approach(ctx, h.setup.Lever.NozzleFor(p), record.Side{X: -1}); err != nil {
		return 0, err
	}
	if _, _, err := h.contact(ctx, p); err != nil {
		return 0, err
	}
	_, _, z, _, err := h.stop(ctx)
	if err != nil {
		return 0, err
	}
	return z, h.Raise(ctx)
}

// lay has the reference laid; ok is false if the person has none.
func (j *job) lay(ctx context.Context, row []record.Place, most float64) (record.Reference, bool, error) {
	first, last := row[0], row[len(row)-1]
	length := last.U - first.U
	r := record.Reference{Y: first.V, X0: first.U, X1: last.U}
	grade := fmt.Sprintf("DIN 876 allows over %.0f mm: grade 0 %.3f, I %.3f, II %.3f, III %.3f mm. ISO 8512-2 grade 0 %.3f mm",
		length, (4+length/250)/1000, (10+length/100)/1000, (20+length/50)/1000, (40+length/25)/1000, (0.003*100*math.Ceil(length/100)+2.5)/1000)
	for {
		a, err := j.question(ctx, record.Question{ID: "reference-straight",
			Text:  "Have you a straight reference (ground bar, glass, stone) that the probe sees? Do not lay it yet. Yes with how far its upper side may be from straight, in mm. No to leave this out. " + grade + ".",
			Value: &record.Wanted{Unit: "mm", Least: 0.0005, Most: 0.2},
		})
		if err != nil || !a.Yes {
			return r, false, err
		}
		r.Straight = number(a)
		if err := j.back(ctx); err != nil {
			return r, false, err
		}
		a, err = j.question(ctx, record.Question{ID: "reference-laid",
			Text: fmt.Sprintf("Lay the reference along X with its middle line at Y %.0f, from X %.0f to X %.0f. Keep it %.0f mm away from %s, where the printer homes. Yes with its thickness in mm (%.1f at most) when your hands are out: the head moves over it. No to leave this out.",
				r.Y, r.X0, r.X1, besideZero/4, j.setup.Zero, most),
			Value: &record.Wanted{Unit: "mm", Least: 0.2, Most: most},
		})
		if err != nil {
			return r, false, err
		}
		if !a.Yes {
			return r, false, nil
		}
		r.Thickness = number(a)
		if j.head.Away() {
			// Never home over a reference: it has to be taken off first.
			if gone, err := j.away(ctx); err != nil || !gone {
				return r, false, err
			}
			continue
		}
		if err := j.back(ctx); err != nil {
			return r, false, err
		}
		return r, true, j.keep(record.Event{Laid: &record.Laid{Reference: &r}})
	}
}

// pass touches along the reference. It is false if the first touches do not
// find it.
func (j *job) pass(ctx context.Context, row []record.Place, r record.Reference) (bool, error) {
	j.head.Over(r.Thickness)
	defer j.head.Over(0)
	k := 0
	for pass := range referencePasses {
		for _, p := range row {
			t, err := j.head.Touch(ctx, p, record.Side{X: -1}, record.Touch{Series: record.SeriesReference, Pass: pass, Index: k, Spot: -1})
			var f *record.Problem
			if k == 0 && (errors.Is(err, errStray) || errors.As(err, &f) && f.Code == "no-touch") && j.head.Homed() {
				return false, j.head.Raise(ctx)
			}
			if errors.Is(err, errStray) {
				err = j.tooWild()
			}
			if err != nil {
				return false, err
			}
			if math.Abs(t.Z-r.Thickness) > 0.5+0.2*r.Thickness && math.Abs(t.Z-r.Thickness) > math.Abs(t.Z) {
				return false, nil
			}
			j.did()
			k++
		}
	}
	return true, nil
}

// away has the reference taken off the bed; gone says that it was.
func (j *job) away(ctx context.Context) (gone bool, err error) {
	if err := j.head.Raise(ctx); err != nil {
		return false, err
	}
	a, err := j.question(ctx, record.Question{ID: "reference-away",
		Text: "Take the reference off the bed. Yes when the bed is clear and your hands are out. The machine may home."})
	if err != nil {
		return false, err
	}
	if !a.Yes {
		return false, j.note("the reference may still lie on the bed: take it off before anything moves")
	}
	if err := j.keep(record.Event{Laid: &record.Laid{}}); err != nil {
		return true, err
	}
	return true, j.back(ctx)
}
