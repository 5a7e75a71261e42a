package ask

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/analysis/given"
	gates "abbed/analysis/steady"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/daemon/correction"
	"abbed/daemon/known"
	"abbed/daemon/results"
	"abbed/probe/record"
)

func AnalyseCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "analyse FILE",
		Short: "Analyse a recorded run, or a CSV file of touches.",
		Long: `FILE is a record (GET runs/{id}/record, or record.json of a demo), or a CSV of touches. Its
header is x,y,z[,t][,side][,repeat]: x and y of the probe, mm and s. "-" reads standard
input. Flags for lever, bed and the rest replace what a record holds. A CSV holds none of
it. --readings and --reference add other instruments, --with the readings of another run.`,
		Args: cobra.ExactArgs(1),
	}
	var k Caller
	k.AddSome(c, "printer", "json")
	console.AddSettings(c.Flags())
	var with []string
	c.Flags().StringArrayVar(&with, "with", nil, "A record of a later run, whose readings join. Give it again for more.")
	var b beside
	b.add(c.Flags())
	c.RunE = func(c *cobra.Command, args []string) error {
		s, err := k.Settings(false)
		if err != nil {
			return err
		}
		run, err := readRun(args[0], c.InOrStdin(), s, c.Flags().Changed)
		if err != nil {
			return err
		}
		if err := b.join(&run, c.InOrStdin()); err != nil {
			return console.Usage(fmt.Errorf("analyse: %w", err))
		}
		for _, name := range with {
			if err := joinRecord(&run, name, c.InOrStdin()); err != nil {
				return console.Usage(fmt.Errorf("analyse: --with %s: %w", name, err))
			}
		}
		v := analysis.Judge(run)
		t, refusedTable := v.Table(run)
		o := &Outcome{Analysis: results.Analysis(run, v), Table: correction.Table(run, t, refusedTable)}
		if k.Json {
			return console.WriteJSON(c.OutOrStdout(), map[string]any{"analysis": o.Analysis, "table": o.Table})
		}
		o.Tell(c.OutOrStdout())
		return nil
	}
	return c
}

// readRun reads a record or a CSV, and sets what the flags say.
func readRun(name string, in io.Reader, s config.Settings, flagged func(string) bool) (record.Run, error) {
	b, err := console.ReadAll(name, in)
	if err != nil {
		return record.Run{}, console.Usage(fmt.Errorf("analyse: %s: %w", name, err))
	}
	if first := bytes.TrimSpace(b); len(first) > 0 && first[0] == '{' {
		run, err := console.ReadRecord(b)
		if err != nil {
			return run, console.Usage(fmt.Errorf("analyse: %s: %w", name, err))
		}
		known.Override(&run.Setup, s, flagged)
		return run, nil
	}
	touches, err := given.ReadCSV(bytes.NewReader(b))
	if err != nil {
		return record.Run{}, console.Usage(fmt.Errorf("analyse: %s: %w", name, err))
	}
	run := record.Run{Version: record.Version, ID: name, Touches: touches}
	run.Setup = known.Given(s)
	return run, nil
}

// joinRecord joins the gaugings of another record, as the daemon does for a later run.
func joinRecord(run *record.Run, name string, in io.Reader) error {
	b, err := console.ReadAll(name, in)
	if err != nil {
		return err
	}
	other, err := console.ReadRecord(b)
	if err != nil {
		return err
	}
	if other.ID == run.ID {
		return errors.New("it is the same run: name the record of a later one")
	}
	if run.Has(other.ID) {
		return nil // it is in the record already, and counts once
	}
	if why := analysis.Joinable(*run, other.Setup); why != nil {
		return fmt.Errorf("%s; %s", why.Text, why.Hint)
	}
	if why := gates.Unsound(other); why != nil {
		return fmt.Errorf("%s; %s", why.Text, why.Hint)
	}
	j := analysis.Joining(other)
	if len(j.Gaps) == 0 && j.Cut == nil {
		return errors.New("it holds no readings that could join: name the record of a run with readings")
	}
	run.Joined = append(run.Joined, j)
	return nil
}
