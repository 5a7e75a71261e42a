package ask

import (
	"fmt"
	"io"
	"math"
	"net/url"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/cmd/abbed/console"
	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/results"
)

func ProbePlaceCommand() *cobra.Command {
	var levers []string
	var within string
	c := Ask("probe-place RECORD|RUN", "Predict the nozzle error with the probe mounted elsewhere.", cobra.ExactArgs(1),
		func(c *cobra.Command, a *client.Client, k Caller, args []string) error {
			var asked api.AskLevers
			if err := asked.ReadQuery(url.Values{"lever": levers, "within": {within}}); err != nil {
				return console.Usage(err)
			}
			return give(c, k, tellLevers)(foretold(c, a, args[0], asked))
		})
	c.Long = `RECORD is a file with a run ("-" for standard input). Anything else is the id of a run.
A probe beside the nozzle along Y shows the roll of the head. One along X shows its pitch and
the straightness of the beam together. So abbed predicts only places on the line of the
run's own probe. It refuses the rest, and says what to measure. A place nearer to the nozzle
than 15 mm leaves no room for a probe (common practice, no source). A nozzle that is itself
the probe has no lever: that is another kind of probe (setting probe.kind).`
	f := c.Flags()
	f.StringArrayVar(&levers, "lever", nil, "Another lever, x,y from nozzle to probe, mm; once for each.")
	f.StringVar(&within, "within", "", "Area x0,y0,x1,y1 in which the probe can be, mm from the nozzle: abbed looks for the best place.")
	return c
}

func foretold(c *cobra.Command, a *client.Client, name string, asked api.AskLevers) (api.Levers, error) {
	if !isFile(name) {
		return a.Levers(c.Context(), name, asked)
	}
	run, err := recordOf(c, a, name)
	if err != nil {
		return api.Levers{}, fmt.Errorf("probe-place: %w", err)
	}
	return results.Foretold(run, analysis.Judge(run), asked), nil
}

func tellLevers(w io.Writer, x api.Levers) {
	fmt.Fprintln(w, x.Sentence)
	for _, l := range x.Levers {
		if l.Note != "" {
			fmt.Fprintf(w, "%s: %s\n", say.At(l.Lever.X, l.Lever.Y), l.Note)
		}
		if r := l.Refused; r != nil {
			fmt.Fprintf(w, "%s: not known (%s): %s\n    %s\n", say.At(l.Lever.X, l.Lever.Y), r.Code, r.Text, r.Hint)
			continue
		}
		fmt.Fprintf(w, "%s: up to %s, at %s\n", say.At(l.Lever.X, l.Lever.Y), say.Within(math.Abs(l.Largest.Gap), l.Largest.U95), say.At(l.Largest.U, l.Largest.V))
	}
	fmt.Fprintln(w, "Against the zero point, where readings were taken, 95 %. It is predicted, not measured: measure again once the probe is there.")
}
