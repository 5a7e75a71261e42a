package ask

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/results"
	"abbed/probe/record"
)

func CompareCommand() *cobra.Command {
	c := Ask("compare EARLIER LATER", "Say what changed between two runs.", cobra.ExactArgs(2), compare)
	c.Long = `EARLIER and LATER are ids of runs, or two records as files. It compares tilt, scatter, play,
Z offset, findings, and the nozzle error where both runs have readings. Each has its 95 %
interval. It says what cannot be compared, and how warm the runs were.`
	return c
}

func compare(c *cobra.Command, a *client.Client, k Caller, args []string) error {
	return give(c, k, tellComparison)(comparison(c, a, args))
}

func comparison(c *cobra.Command, a *client.Client, args []string) (api.Comparison, error) {
	if !isFile(args[0]) && !isFile(args[1]) {
		return a.Compare(c.Context(), args[0], args[1])
	}
	var both [2]analysis.Judged
	for i, name := range args {
		run, err := recordOf(c, a, name)
		if err != nil {
			return api.Comparison{}, fmt.Errorf("compare: %w", err)
		}
		both[i] = analysis.Judged{Run: run, Verdict: analysis.Judge(run)}
	}
	return results.Compared(both[0], both[1])
}

func isFile(name string) bool {
	_, err := os.Stat(name)
	return name == "-" || err == nil
}

// recordOf reads a record: from a file, or that of a run of the daemon.
func recordOf(c *cobra.Command, a *client.Client, name string) (record.Run, error) {
	var b []byte
	var err error
	if isFile(name) {
		if b, err = console.ReadAll(name, c.InOrStdin()); err != nil {
			return record.Run{}, console.Usage(fmt.Errorf("%s: %w", name, err))
		}
	} else if b, err = a.Record(c.Context(), name); err != nil {
		var refused *api.Error
		if errors.As(err, &refused) {
			return record.Run{}, err
		}
		err = fmt.Errorf("%s is no file here, and as a run: %w", name, err)
	}
	if err != nil {
		return record.Run{}, err
	}
	run, err := console.ReadRecord(b)
	if err != nil {
		return run, console.Usage(fmt.Errorf("%s: %w", name, err))
	}
	return run, nil
}

func tellComparison(w io.Writer, x api.Comparison) {
	fmt.Fprintln(w, x.Sentence)
	for _, c := range x.Changes {
		fmt.Fprintln(w, " ", c.Sentence)
	}
	for _, l := range []struct {
		when string
		p    *api.PlaceGap
	}{{"the earlier", x.LeftBefore}, {"the later", x.LeftAfter}} {
		if l.p != nil {
			fmt.Fprintf(w, "  with the correction in force in %s run up to %.3f ±%.3f mm are left, at X %.0f, Y %.0f\n", l.when, math.Abs(l.p.Gap), l.p.U95, l.p.U, l.p.V)
		}
	}
	for _, f := range []struct {
		name string
		ids  []string
	}{{"gone", x.Gone}, {"still there", x.Stay}, {"new", x.Come}} {
		if len(f.ids) > 0 {
			fmt.Fprintf(w, "  findings %s: %s\n", f.name, strings.Join(f.ids, ", "))
		}
	}
	if x.Heat != nil {
		fmt.Fprintln(w, " ", x.Heat.Text)
	}
	for _, n := range x.Not {
		fmt.Fprintln(w, "  not compared:", n)
	}
	fmt.Fprintln(w, "Intervals are 95 %.")
}
