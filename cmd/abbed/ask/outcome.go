package ask

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

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/client"
)

// Outcome is what a job gave.
type Outcome struct {
	Run      api.Run
	Record   api.Record
	Analysis api.Analysis
	Table    api.Table
	Presses  int
	Records  int
}

func (o *Outcome) Read(ctx context.Context, c *client.Client) (err error) {
	if o.Record, err = c.Record(ctx, o.Run.ID); err != nil {
		return err
	}
	if o.Analysis, err = c.Analysis(ctx, o.Run.ID); err != nil {
		return err
	}
	o.Table, err = c.Table(ctx, o.Run.ID)
	return err
}

// Save leaves record, analysis and table as files.
func (o *Outcome) Save(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the directory for results: %w", err)
	}
	for name, v := range map[string]any{"record.json": o.Record, "analysis.json": o.Analysis, "table.json": o.Table} {
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
	if err := writeTable(f, o.Table); err != nil {
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

// Tell says what was found, for people.
func (o *Outcome) Tell(w io.Writer) {
	for _, f := range o.Analysis.Findings {
		fmt.Fprintf(w, "%s: %s\n  do: %s\n  why: %s\n  how sure: %s\n", f.ID, f.Sentence, f.Next, f.Evidence, f.Doubt)
	}
	if x := o.Analysis.Wedge; x != nil {
		fmt.Fprintf(w, "wedge: %s\n  do: %s\n", x.Sentence, x.Next)
	}
	if x := o.Analysis.More; x != nil {
		fmt.Fprintf(w, "one more reading: %s\n", oneMore(*x))
		if o.Run.ID != "" {
			fmt.Fprintf(w, "  now or later: abbed measure --for %s (%d readings, about %.0f min)\n", o.Run.ID, x.Left, math.Ceil(x.Time/60))
		}
	}
	for _, l := range o.Analysis.Later {
		fmt.Fprintf(w, "later readings: %s\n", l.Text)
	}
	if o.Run.For != "" {
		fmt.Fprintf(w, "made for run %s: its readings count there (abbed runs report %s)\n", o.Run.For, o.Run.For)
	}
	if l := o.Analysis.Level; l != nil {
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
	case o.Table.Digest != nil:
		fmt.Fprintf(w, "correction: %d nodes, the largest %s, known to %s; steepest %s per 100 mm\n",
			len(o.Table.Nodes), say.MM(o.Table.Largest), say.PM(o.Table.LargestU95), say.MM(o.Table.Steepest))
	case o.Table.Refused != nil:
		fmt.Fprintf(w, "no correction (%s): %s\n  do: %s\n", o.Table.Refused.Code, o.Table.Refused.Text, o.Table.Refused.Hint)
	}
	if o.Records > 0 {
		fmt.Fprintf(w, "%d readings, %.1f answers each\n", o.Records, float64(o.Presses)/float64(o.Records))
	}
}
