package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
)

// outcome is what a job gave.
type outcome struct {
	run      api.Run
	record   api.Record
	analysis api.Analysis
	table    api.Table
	presses  int
	records  int
}

func (o *outcome) read(ctx context.Context, c *client.Client) (err error) {
	if o.record, err = c.Record(ctx, o.run.ID); err != nil {
		return err
	}
	if o.analysis, err = c.Analysis(ctx, o.run.ID); err != nil {
		return err
	}
	o.table, err = c.Table(ctx, o.run.ID)
	return err
}

// save leaves record, analysis and table as files.
func (o *outcome) save(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the directory for results: %w", err)
	}
	for name, v := range map[string]any{"record.json": o.record, "analysis.json": o.analysis, "table.json": o.table} {
		b, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			return fmt.Errorf("write %s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), append(b, '\n'), 0o644); err != nil {
			return fmt.Errorf("write %s: %w", name, err)
		}
	}
	f, err := os.Create(filepath.Join(dir, "table.csv"))
	if err != nil {
		return fmt.Errorf("write table.csv: %w", err)
	}
	defer f.Close()
	if err := writeTable(f, o.table); err != nil {
		return fmt.Errorf("write table.csv: %w", err)
	}
	return f.Close()
}

// writeTable writes a table as CSV, mm.
func writeTable(w io.Writer, t api.Table) error {
	c := csv.NewWriter(w)
	_ = c.Write([]string{"i", "j", "x", "y", "before", "add", "after", "u95"})
	mm := func(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }
	for _, n := range t.Nodes {
		_ = c.Write([]string{strconv.Itoa(n.I), strconv.Itoa(n.J), mm(n.U), mm(n.V), mm(n.Before), mm(n.Add), mm(n.Before + n.Add), mm(n.U95)})
	}
	c.Flush()
	return c.Error()
}

// tell says what was found, for people.
func (o *outcome) tell(w io.Writer) {
	for _, f := range o.analysis.Findings {
		fmt.Fprintf(w, "%s: %s\n  do: %s\n  why: %s\n  how sure: %s\n", f.ID, f.Sentence, f.Next, f.Evidence, f.Doubt)
	}
	if x := o.analysis.Wedge; x != nil {
		fmt.Fprintf(w, "wedge: %s\n  do: %s\n", x.Sentence, x.Next)
	}
	if x := o.analysis.More; x != nil {
		fmt.Fprintf(w, "one more reading: %s\n", oneMore(*x))
		if o.run.ID != "" {
			fmt.Fprintf(w, "  now or later: abbed measure --for %s (%d readings, about %.0f min)\n", o.run.ID, x.Left, math.Ceil(x.Time/60))
		}
	}
	for _, l := range o.analysis.Later {
		fmt.Fprintf(w, "later readings: %s\n", l.Text)
	}
	if o.run.For != "" {
		fmt.Fprintf(w, "made for run %s: its readings count there (abbed runs report %s)\n", o.run.For, o.run.For)
	}
	if l := o.analysis.Level; l != nil {
		way := "high"
		if l.Value < 0 {
			way = "low"
		}
		if size := math.Abs(l.Value); size > (l.Hi95-l.Lo95)/2 {
			fmt.Fprintf(w, "level: the Z offset is %s too %s, %s\n", say.MM(size), way, say.PM((l.Hi95-l.Lo95)/2))
		} else {
			fmt.Fprintf(w, "level: the Z offset is right to within %s\n", say.MM(size+(l.Hi95-l.Lo95)/2))
		}
	}
	switch {
	case o.table.Digest != nil:
		fmt.Fprintf(w, "correction: %d nodes, the largest %s, known to %s; steepest %s per 100 mm\n",
			len(o.table.Nodes), say.MM(o.table.Largest), say.PM(o.table.LargestU95), say.MM(o.table.Steepest))
	case o.table.Refused != nil:
		fmt.Fprintf(w, "no correction (%s): %s\n  do: %s\n", o.table.Refused.Code, o.table.Refused.Text, o.table.Refused.Hint)
	}
	if o.records > 0 {
		fmt.Fprintf(w, "%d readings, %.1f answers each\n", o.records, float64(o.presses)/float64(o.records))
	}
}

// compare holds the outcome to what the virtual printer knows.
func (d *demo) compare(o *outcome, printer *bench.Printer) error {
	first := ""
	if len(o.analysis.Findings) > 0 {
		first = o.analysis.Findings[0].ID
	}
	sc := d.scenario
	if sc.Finding != "" { // of a machine drawn at random nobody knows it beforehand
		if first != sc.Finding {
			o.tell(d.errs)
			return fmt.Errorf("found %q first, and not %q", first, sc.Finding)
		}
		if err := rightly(o, sc, printer); err != nil {
			o.tell(d.errs)
			return err
		}
	}
	s := printer.Safety()
	if s.LowTravel > 0 || s.NozzleTouches(1.7) > 0 || s.Unhomed > 0 {
		return fmt.Errorf("the printer was not safe: %d low travels, %d contacts beyond the person's own, %d moves unhomed", s.LowTravel, s.NozzleTouches(1.7), s.Unhomed)
	}
	if o.table.Digest != nil {
		left, nodes := remaining(o.table, printer.Truth())
		fmt.Fprintf(d.errs, "The true nozzle error with the correction: %s rms at %d nodes.\n", say.Fine(left), nodes)
	}
	return nil
}

// rightly says whether a table was offered, or refused, as it should be. A stored
// map with nodes that are not the bed's is to be refused whatever the machine is,
// and these nodes named and no others.
func rightly(o *outcome, sc bench.Scenario, printer *bench.Printer) error {
	wild := wildNodes(printer)
	if got, want := o.table.Digest != nil, sc.Table && len(wild) == 0; got != want {
		return fmt.Errorf("a table was offered: %v, expected: %v (nodes of the bed map that are not the bed's: %v)", got, want, wild)
	}
	if !sc.Compensable || len(wild) == 0 {
		return nil
	}
	r := o.table.Refused
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

// remaining is the rms of addition + true gap error over the nodes of a table
// where the table's own doubt is a gauged one, mm. A constant counts: it is a
// contrast against the zero place.
func remaining(t api.Table, truth bench.Truth) (rms float64, nodes int) {
	for _, n := range t.Nodes {
		d := n.Add + truth.Gap(n.U, n.V)
		rms += d * d
		nodes++
	}
	return math.Sqrt(rms / float64(max(1, nodes))), nodes
}
