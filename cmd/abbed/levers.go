package main

import (
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/results"
	"abbed/daemon/web"
)

func probePlaceCommand() *cobra.Command {
	var levers []string
	var within string
	c := ask("probe-place RECORD|RUN", "Predict the nozzle error with the probe mounted elsewhere", cobra.ExactArgs(1),
		func(c *cobra.Command, a *client.Client, k caller, args []string) error {
			asked, err := web.AskedLevers(levers, within)
			if err != nil {
				return usage(err)
			}
			x, err := foretold(c, a, args[0], asked)
			if err != nil {
				return err
			}
			return give(c, k, x, tellLevers)
		})
	c.Long = `RECORD is the record of a run (a file, "-" for standard input); anything else is the
id of a run of the daemon. One lever tells one angle: with a probe beside the nozzle
along Y the roll of the head, along X its pitch and the beam's straightness together,
so that only levers on the line of the run's own can be predicted. What cannot is
refused, with what to measure. Nearer to the nozzle than about 15 mm the body of a probe
finds no room (common practice, no source; a probe that is nearer already verifies it on its
own machine): such places are not recommended. A nozzle that senses its own load has no
lever; that is another kind of probe (setting probe.kind), and no mounting place.`
	f := c.Flags()
	f.StringArrayVar(&levers, "lever", nil, "another lever, x,y from nozzle to probe, mm; once for each")
	f.StringVar(&within, "within", "", "x0,y0,x1,y1: where the probe could be mounted, mm from the nozzle; the best place in it is looked for")
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
			fmt.Fprintf(w, "probe offset X %.1f, Y %.1f: %s\n", l.Lever.X, l.Lever.Y, l.Note)
		}
		if r := l.Refused; r != nil {
			fmt.Fprintf(w, "probe offset X %.1f, Y %.1f: not predicted (%s): %s\n    %s\n", l.Lever.X, l.Lever.Y, r.Code, r.Text, r.Hint)
			continue
		}
		fmt.Fprintf(w, "probe offset X %.1f, Y %.1f: up to %.3f ±%.3f mm, at X %.0f, Y %.0f\n", l.Lever.X, l.Lever.Y, math.Abs(l.Largest.Gap), l.Largest.U95, l.Largest.U, l.Largest.V)
	}
	fmt.Fprintln(w, "Against the zero point, inside the gauged area, 95 %. It is predicted, not measured: gauge again once the probe is there.")
}
