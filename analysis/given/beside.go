package given

import (
	"fmt"
	"io"
	"slices"

	"abbed/analysis/result"
	"abbed/probe/record"
)

// Beside is what a person measured beside a run.
type Beside struct {
	Readings []record.Reading
	// Reference and Touches are a straight reference and the touches along it; nil
	// without one.
	Reference *record.Reference
	Touches   []record.Touch
}

// LayCSV adds touches along a straight reference, with the header of ReadCSV.
func (b *Beside) LayCSV(r io.Reader, thickness, straight float64) error {
	touches, err := ReadCSV(r)
	if err != nil {
		return fmt.Errorf("lay a reference: %w", err)
	}
	ref, touches, err := Lay(touches, thickness, straight)
	if err != nil {
		return err
	}
	b.Reference, b.Touches = &ref, touches
	return nil
}

// Events are what has to be added to the log of a run: the list gets the next number;
// corrected says that a correction was in force while its coupons were printed.
func (b Beside) Events(run record.Run, corrected bool) []record.Event {
	number := 1
	for _, r := range run.Readings {
		number = max(number, r.Print+1)
	}
	var out []record.Event
	for _, r := range b.Readings {
		r.Print, r.Corrected = number, corrected && r.Quantity == record.QuantityCoupon
		out = append(out, record.Event{Reading: &r})
	}
	if b.Reference != nil {
		out = append(out, record.Event{Laid: &record.Laid{Reference: b.Reference}})
		for _, t := range b.Touches {
			out = append(out, record.Event{Touch: &t})
		}
	}
	for i := range out {
		out[i].N, out[i].T = run.Last+int64(i)+1, run.T
	}
	return out
}

// Replaces says which readings of the run no longer count once b is entered: of each
// quantity the latest list does.
func (b Beside) Replaces(run record.Run, corrected bool) []string {
	var out []string
	for _, q := range []struct {
		quantity record.Quantity
		of       string
	}{{record.QuantityCoupon, "printed patches"}, {record.QuantityRoll, "the head's roll"}, {record.QuantityPitch, "the head's pitch"}} {
		anew := func(r record.Reading) bool { return r.Quantity == q.quantity }
		if !slices.ContainsFunc(b.Readings, anew) || q.quantity == record.QuantityCoupon && corrected {
			continue
		}
		if n := len(Latest(run, q.quantity)); n > 0 {
			out = append(out, fmt.Sprintf("What was entered before of %s (readings: %d) no longer counts: the latest list does. Enter all of them at once if they belong together.", q.of, n))
		}
	}
	return out
}

// Join adds everything to a run that is not kept in a log.
func (b Beside) Join(run *record.Run, corrected bool) {
	for _, e := range b.Events(*run, corrected) {
		switch {
		case e.Reading != nil:
			run.Readings = append(run.Readings, *e.Reading)
		case e.Laid != nil:
			l := *e.Laid
			l.N = e.N
			run.Laid = append(run.Laid, l)
		case e.Touch != nil:
			t := *e.Touch
			t.N, t.T = e.N, e.T
			run.Touches = append(run.Touches, t)
		}
		run.Last = e.N
	}
}

// Latest returns the readings of a quantity as they count: those of the latest list, since
// each list has a constant of its own (bead, mounting), and one that is sent twice is one.
// Patches that were printed with a correction in force are none.
func Latest(run record.Run, q record.Quantity) []record.Reading {
	counts := func(r record.Reading) bool { return r.Quantity == q && !r.Corrected }
	last := 0
	for _, r := range result.Keep(run.Readings, counts) {
		last = max(last, r.Print)
	}
	return result.Keep(run.Readings, func(r record.Reading) bool { return counts(r) && r.Print == last })
}
