package given

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"abbed/analysis/result"
	"abbed/analysis/typed"
	"abbed/probe/record"
)

// ErrReadings is wrapped by every error about readings that the person is to
// blame for.
var ErrReadings = errors.New("not readings of an instrument")

// The largest tilt of a head that an instrument can have shown, deg, and how many
// readings a person can have typed.
const (
	tiltMost     = 20.0
	mostReadings = 2000
)

// ReadReadings reads what a person read from instruments of their own, from
// `quantity,x,y,value[,u]` with a header: quantity is coupon (a printed patch, mm),
// roll or pitch (of the head with the nozzle at x, y; degrees), u the standard
// uncertainty in the same unit. A coupon without u has 0.012 mm; an angle wants
// one, since only its reader knows the instrument. Columns may stand in any order;
// how it may be typed says the package typed. Angles come back in rad. Errors name the
// line, the cause and the remedy, and wrap ErrReadings.
func ReadReadings(r io.Reader) ([]record.Reading, error) {
	t, err := typed.Read(r, typed.Typed)
	if err != nil {
		return nil, fmt.Errorf("read readings: %w: %w; give a header quantity,x,y,value,u and a line for each reading", ErrReadings, err)
	}
	at, err := t.Named([]string{"quantity", "x", "y", "value"}, []string{"u"})
	if err == nil && len(t.Lines) > mostReadings {
		err = fmt.Errorf("more than %d readings; is it the right file?", mostReadings)
	}
	if err != nil {
		return nil, fmt.Errorf("read readings: %w: %w", ErrReadings, err)
	}
	var out []record.Reading
	for _, l := range t.Lines {
		v, err := readingOf(l, at)
		if err != nil {
			return nil, fmt.Errorf("read readings: line %d: %w: %w", l.At, ErrReadings, err)
		}
		out = append(out, v)
	}
	return out, nil
}

// readingOf takes a line whose names stand in the columns at. Without a doubt, or
// with an empty one, U is what NewReading makes of 0.
func readingOf(l typed.Line, at map[string]int) (record.Reading, error) {
	var n [4]float64
	for i, name := range []string{"x", "y", "value", "u"} {
		column, ok := at[name]
		if name == "u" && (!ok || l.Cell(column) == "") {
			continue
		}
		var err error
		if n[i], err = l.Number(column); err != nil {
			return record.Reading{}, err
		}
		if name == "u" && n[i] == 0 {
			return record.Reading{}, errors.New("u is 0, and no instrument is exact: give half of its smallest step")
		}
	}
	return NewReading(record.Quantity(strings.ToLower(l.Cell(at["quantity"]))), record.Place{U: n[0], V: n[1]}, n[2], n[3])
}

// NewReading makes a reading from what a person gives: value and its standard
// uncertainty u in mm for a coupon (u 0: 0.012 mm), in degrees for roll and pitch.
// It refuses what cannot have been read.
func NewReading(q record.Quantity, at record.Place, value, u float64) (record.Reading, error) {
	r := record.Reading{Quantity: q, Place: at, Value: value, U: u}
	if !result.Finite(value) || !result.Finite(u) || !result.Finite(at.U) || !result.Finite(at.V) || math.Abs(at.U) > 2000 || math.Abs(at.V) > 2000 {
		return r, fmt.Errorf("%s at %s is no reading at a place of the bed; give x and y in mm", q, at)
	}
	switch q {
	case record.QuantityCoupon:
		if u == 0 {
			r.U = record.PatchU
		}
		if !(value >= record.LayerLeast && value <= record.LayerMost) || !(r.U >= 0.0005 && r.U <= 0.2) {
			return r, fmt.Errorf("a patch of %g mm with a standard uncertainty of %g mm cannot be right: %g to %g mm is taken, and 0.0005 to 0.2 mm; are they in mm?", value, r.U, record.LayerLeast, record.LayerMost)
		}
	case record.QuantityRoll, record.QuantityPitch:
		if u == 0 {
			return r, fmt.Errorf("a %s wants its standard uncertainty u in degrees: half of the instrument's smallest step, if nothing else is known", q)
		}
		if !(math.Abs(value) <= tiltMost) || !(u >= 0.0005 && u <= 0.5) {
			return r, fmt.Errorf("a %s of %g° ±%g° cannot be right: give at most %g°, known to 0.0005° to 0.5°", q, value, u, tiltMost)
		}
		r.Value, r.U = value*math.Pi/180, u*math.Pi/180
	default:
		return r, fmt.Errorf("quantity %q is not known; write coupon, roll or pitch", q)
	}
	return r, nil
}
