package demo

import (
	"fmt"
	"math"
	"strings"

	"abbed/cmd/abbed/ask"
	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// compare holds the outcome to what the virtual printer knows.
func (d *Demo) compare(o *ask.Outcome, printer *bench.Printer) error {
	first := ""
	if len(o.Analysis.Findings) > 0 {
		first = o.Analysis.Findings[0].ID
	}
	sc := d.Scenario
	if sc.Finding != "" { // of a machine drawn at random nobody knows it beforehand
		if first != sc.Finding {
			o.Tell(d.Errs)
			return fmt.Errorf("found %q first, and not %q", first, sc.Finding)
		}
		if err := rightly(o, sc, printer); err != nil {
			o.Tell(d.Errs)
			return err
		}
	}
	s := printer.Safety()
	if s.LowTravel > 0 || s.NozzleTouches(1.7) > 0 || s.Unhomed > 0 {
		return fmt.Errorf("the printer was not safe: %d low travels, %d contacts beyond the person's own, %d moves unhomed", s.LowTravel, s.NozzleTouches(1.7), s.Unhomed)
	}
	if o.Table.Digest != nil {
		left, nodes := Remaining(o.Table, printer.Truth())
		fmt.Fprintf(d.Errs, "The true nozzle error with the correction: %s rms at %d nodes.\n", say.Fine(left), nodes)
	}
	return nil
}

// rightly says whether a table was offered, or refused, as it should be. A stored
// map with nodes that are not the bed's is to be refused whatever the machine is,
// and these nodes named and no others.
func rightly(o *ask.Outcome, sc bench.Scenario, printer *bench.Printer) error {
	wild := wildNodes(printer)
	if got, want := o.Table.Digest != nil, sc.Table && len(wild) == 0; got != want {
		return fmt.Errorf("a table was offered: %v, expected: %v (nodes of the bed map that are not the bed's: %v)", got, want, wild)
	}
	if !sc.Compensable || len(wild) == 0 {
		return nil
	}
	r := o.Table.Refused
	if r == nil || r.Code != "map-stale" || strings.Count(r.Text, " by ") != len(wild) {
		return fmt.Errorf("refused with %+v: the bed map is off at %v, and no other nodes", r, wild)
	}
	for _, n := range wild {
		if !strings.Contains(r.Text, n+" by ") {
			return fmt.Errorf("refused with %q: node %s is not named", r.Text, n)
		}
	}
	return nil
}

// wildNodes are the nodes (i,j) of the printer's stored map that lie more than
// 0.1 mm from what its probe would find there without noise: sixteen times the
// bench's scatter and more.
func wildNodes(printer *bench.Printer) (out []string) {
	truth := printer.Truth()
	for j, row := range printer.Nodes() {
		for i, z := range row {
			if math.Abs(z-truth.Map(truth.Node(i, j))) > 0.1 {
				out = append(out, fmt.Sprintf("column %d, row %d", i, j))
			}
		}
	}
	return out
}

// Remaining is the rms of addition + true gap error over the nodes of a table
// where the table's own doubt is a gauged one, mm. A constant counts: it is a
// contrast against the zero place.
func Remaining(t api.Table, truth bench.Truth) (rms float64, nodes int) {
	for _, n := range t.Nodes {
		d := n.Add + truth.Gap(n.U, n.V)
		rms += d * d
		nodes++
	}
	return math.Sqrt(rms / float64(max(1, nodes))), nodes
}
