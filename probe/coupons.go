package probe

import (
	"context"
	"fmt"
	"math"

	"abbed/probe/record"
)

// coupons asks for the thickness of single-layer patches that the person has
// printed, place by place, where the gauging was planned. Nothing moves.
func (j *job) coupons(ctx context.Context) error {
	places := j.plan.patches(j.setup)
	if err := j.begin(record.StepCoupons, len(places)); err != nil {
		return err
	}
	a, err := j.question(ctx, record.Question{ID: "coupons",
		Text: fmt.Sprintf("Did you print single-layer patches at %d points, with the bed map and no correction? Yes to enter their thickness, point by point. No to leave this out.", len(places)),
	})
	if err != nil || !a.Yes {
		return err
	}
	for i, p := range places {
		a, err := j.question(ctx, record.Question{
			ID:    fmt.Sprintf("coupon-%d", i+1),
			Text:  fmt.Sprintf("Patch %d of %d, at %s: its thickness in mm. No if there is none.", i+1, len(places), p),
			Value: &record.Wanted{Unit: "mm", Least: record.LayerLeast, Most: record.LayerMost},
		})
		if err != nil {
			return err
		}
		j.did()
		if !a.Yes {
			continue
		}
		r := record.Reading{Quantity: record.QuantityCoupon, Place: p, Value: number(a), U: j.plan.CouponU}
		if err := j.keep(record.Event{Reading: &r}); err != nil {
			return err
		}
	}
	return nil
}

// patches returns where coupons are asked for: three columns and three rows of
// the reach, the middle one at the zero place.
func (p Plan) patches(s record.Setup) []record.Place {
	in := p.inner(s)
	var out []record.Place
	for _, v := range []float64{in.Y0, s.Zero.V, in.Y1} {
		for _, u := range []float64{in.X0, (in.X0 + s.Zero.U) / 2, s.Zero.U, (in.X1 + s.Zero.U) / 2, in.X1} {
			if v != s.Zero.V && (u != in.X0 && u != in.X1 && u != s.Zero.U) {
				continue
			}
			out = append(out, record.Place{U: u, V: v})
		}
	}
	return out
}

// angles asks for the tilt of the head, read on an instrument that sits on it,
// at a few places along X, the first once more at the end.
func (j *job) angles(ctx context.Context) error {
	stops := j.plan.stops(j.setup)
	quantities := angleOf(j.setup.Lever)
	if err := j.begin(record.StepAngles, (len(stops))*len(quantities)); err != nil {
		return err
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	for _, q := range quantities {
		if err := j.readAngles(ctx, q, stops); err != nil {
			return err
		}
	}
	return nil
}

// angleSays says how each angle is read.
var angleSays = map[record.Quantity]string{
	record.QuantityRoll:  "the roll of the head, + where its side towards the back is the higher one",
	record.QuantityPitch: "the pitch of the head, + where its right side is the lower one",
}

func (j *job) readAngles(ctx context.Context, what record.Quantity, stops []record.Place) error {
	a, err := j.question(ctx, record.Question{
		ID:    string(what),
		Text:  "Does an inclinometer or a level sit fast on the head, so that it shows " + angleSays[what] + "? Yes with half of its smallest step in degrees, when your hands are out. The head moves then. No to leave this out.",
		Value: &record.Wanted{Unit: "deg", Least: 0.0005, Most: 0.5},
	})
	if err != nil || !a.Yes {
		return err
	}
	u := number(a) * math.Pi / 180
	for i, p := range stops {
		if err := j.back(ctx); err != nil {
			return err
		}
		if err := j.head.Travel(ctx, p.Under()); err != nil {
			return err
		}
		a, err = j.question(ctx, record.Question{
			ID:    fmt.Sprintf("%s-%d", what, i+1),
			Text:  fmt.Sprintf("The nozzle stands at %s (%d of %d): the reading in degrees, %s. No to pass over this place. Then hands out: the head moves on.", p, i+1, len(stops), angleSays[what]),
			Value: &record.Wanted{Unit: "deg", Least: -20, Most: 20},
		})
		if err != nil {
			return err
		}
		j.did()
		if !a.Yes {
			continue
		}
		r := record.Reading{Quantity: what, Place: p, Value: number(a) * math.Pi / 180, U: u}
		if err := j.keep(record.Event{Reading: &r}); err != nil {
			return err
		}
	}
	return j.back(ctx)
}

// angleOf says which angles matter for a lever: the roll unless it lies along
// X, the pitch unless it lies along Y, to within a sixth of its length.
func angleOf(l record.Lever) []record.Quantity {
	var out []record.Quantity
	if math.Abs(l.Y) > l.Length()/6 {
		out = append(out, record.QuantityRoll)
	}
	if math.Abs(l.X) > l.Length()/6 {
		out = append(out, record.QuantityPitch)
	}
	return out
}

// stops are where angles are read: along X through the zero place, where the
// nozzle stands when the probe touches from one end of the gauged width to the
// other.
func (p Plan) stops(s record.Setup) []record.Place {
	in := p.inner(s)
	var out []record.Place
	x0, x1 := max(in.X0-s.Lever.X, s.Travel.X0), min(in.X1-s.Lever.X, s.Travel.X1)
	for _, u := range spread(x0, x1, p.AnglePlaces) {
		out = append(out, record.Place{U: u, V: s.Zero.V})
	}
	return append(out, out[0])
}
