package analysis

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"abbed/probe/record"
)

// ErrReadings is wrapped by every error about readings that the person is to
// blame for.
var ErrReadings = errors.New("not readings of an instrument")

// What instruments can have shown: a single layer, mm, and the tilt of a head,
// deg, with the standard uncertainties that go with them.
const (
	layerLeast, layerMost = 0.02, 2.0
	tiltMost              = 20.0
	layerDoubt            = 0.012 // where none is given, mm (probe.Plan.CouponU)
	mostReadings          = 2000
)

// ReadReadings reads what a person read from instruments of their own, from
// `quantity,x,y,value[,u]` with a header: quantity is coupon (a printed patch, mm),
// roll or pitch (of the head with the nozzle at x, y; degrees), u the standard
// uncertainty in the same unit. A coupon without u has 0.012 mm; an angle wants
// one, since only its reader knows the instrument. Columns may stand in any order;
// blank lines and lines from `#` on are skipped; commas, semicolons or tabs
// separate. Angles come back in rad. Errors name the line, the cause and the
// remedy, and wrap ErrReadings.
func ReadReadings(r io.Reader) ([]record.Reading, error) {
	rows, err := table(r)
	if err != nil {
		return nil, fmt.Errorf("read readings: %w", err)
	}
	var out []record.Reading
	for _, row := range rows {
		v, err := readingOf(row)
		if err != nil {
			return nil, fmt.Errorf("read readings: line %d: %w: %w", row.line, ErrReadings, err)
		}
		out = append(out, v)
	}
	return out, nil
}

// told is one line of a table, by the names of its columns.
type told struct {
	line  int
	cells map[string]string
}

// table reads lines under a header that names quantity, x, y, value and perhaps u.
func table(r io.Reader) ([]told, error) {
	b, err := io.ReadAll(io.LimitReader(r, 1<<20))
	if err != nil {
		return nil, err
	}
	text := strings.TrimPrefix(string(b), "\ufeff")
	c := csv.NewReader(strings.NewReader(text))
	c.Comment, c.TrimLeadingSpace, c.FieldsPerRecord = '#', true, -1
	c.Comma = separator(text)
	head, err := c.Read()
	if err != nil {
		return nil, fmt.Errorf("%w: the file is empty; give a header quantity,x,y,value,u and a line for each reading", ErrReadings)
	}
	names, err := columnsOf(head)
	if err != nil {
		return nil, fmt.Errorf("line 1: %w: %w", ErrReadings, err)
	}
	var out []told
	for {
		row, err := c.Read()
		switch {
		case errors.Is(err, io.EOF) && len(out) == 0:
			return nil, fmt.Errorf("%w: nothing follows the header; add one reading a line", ErrReadings)
		case errors.Is(err, io.EOF):
			return out, nil
		case err != nil:
			return nil, fmt.Errorf("%w: %w", ErrReadings, err)
		}
		at, _ := c.FieldPos(0)
		if len(row) != len(names) {
			return nil, fmt.Errorf("line %d: %w: %d values where the header has %d columns; write one value a column, with a point for decimals", at, ErrReadings, len(row), len(names))
		}
		l := told{at, map[string]string{}}
		for i, name := range names {
			l.cells[name] = strings.TrimSpace(row[i])
		}
		if out = append(out, l); len(out) > mostReadings {
			return nil, fmt.Errorf("line %d: %w: more than %d readings; is it the right file?", at, ErrReadings, mostReadings)
		}
	}
}

// separator is what stands between the columns of the first line that is no comment.
func separator(text string) rune {
	for l := range strings.Lines(text) {
		if l = strings.TrimSpace(l); l == "" || l[0] == '#' {
			continue
		}
		for _, c := range ";\t" {
			if strings.ContainsRune(l, c) {
				return c
			}
		}
		break
	}
	return ','
}

func columnsOf(head []string) ([]string, error) {
	const wanted = "the header is quantity,x,y,value and, if wanted, u"
	seen := map[string]bool{}
	names := make([]string, len(head))
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(name))
		switch name {
		case "quantity", "x", "y", "value", "u":
		default:
			return nil, fmt.Errorf("column %q is not known; %s", name, wanted)
		}
		if seen[name] {
			return nil, fmt.Errorf("column %q stands twice; leave one out", name)
		}
		seen[name], names[i] = true, name
	}
	for _, name := range []string{"quantity", "x", "y", "value"} {
		if !seen[name] {
			return nil, fmt.Errorf("column %q is missing; %s", name, wanted)
		}
	}
	return names, nil
}

func readingOf(l told) (record.Reading, error) {
	var n [4]float64
	for i, name := range []string{"x", "y", "value", "u"} {
		cell := l.cells[name]
		if cell == "" && name == "u" {
			continue
		}
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || !finite(v) {
			return record.Reading{}, fmt.Errorf("%s is %q, not a number; correct it, or take the line out", name, cell)
		}
		n[i] = v
	}
	if cell := l.cells["u"]; cell != "" && n[3] == 0 {
		return record.Reading{}, errors.New("u is 0, and no instrument is exact; give half of its smallest step, or leave u out for a coupon")
	}
	return NewReading(record.Quantity(strings.ToLower(l.cells["quantity"])), record.Place{U: n[0], V: n[1]}, n[2], n[3])
}

// NewReading makes a reading from what a person gives: value and its standard
// uncertainty u in mm for a coupon (u 0: 0.012 mm), in degrees for roll and pitch.
// It refuses what cannot have been read.
func NewReading(q record.Quantity, at record.Place, value, u float64) (record.Reading, error) {
	r := record.Reading{Quantity: q, Place: at, Value: value, U: u}
	if !finite(value) || !finite(u) || !finite(at.U) || !finite(at.V) || math.Abs(at.U) > 2000 || math.Abs(at.V) > 2000 {
		return r, fmt.Errorf("%s at %s is no reading at a place of the bed; give x and y in mm", q, at)
	}
	switch q {
	case record.QuantityCoupon:
		if u == 0 {
			r.U = layerDoubt
		}
		if !(value >= layerLeast && value <= layerMost) || !(r.U >= 0.0005 && r.U <= 0.2) {
			return r, fmt.Errorf("a patch of %g mm with a standard uncertainty of %g mm cannot be right: %g to %g mm is taken, and 0.0005 to 0.2 mm; are they in mm?", value, r.U, layerLeast, layerMost)
		}
	case record.QuantityRoll, record.QuantityPitch:
		if u == 0 {
			return r, fmt.Errorf("a %s wants its standard uncertainty u in degrees: half of the instrument's smallest step, if nothing else is known", q)
		}
		if !(math.Abs(value) <= tiltMost) || !(u >= 0.0005 && u <= 0.5) {
			return r, fmt.Errorf("a %s of %g deg with a standard uncertainty of %g deg cannot be right: up to %g deg is taken, and 0.0005 to 0.5 deg; are they in degrees?", q, value, u, tiltMost)
		}
		r.Value, r.U = value*math.Pi/180, u*math.Pi/180
	default:
		return r, fmt.Errorf("quantity %q is not known; write coupon, roll or pitch", q)
	}
	return r, nil
}
