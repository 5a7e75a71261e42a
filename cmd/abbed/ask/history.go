package ask

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/daemon/client"
)

func HistoryCommand() *cobra.Command {
	return Ask("history", "Say what changed over all runs of this printer.", cobra.NoArgs,
		func(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
			return give(c, k, TellHistory)(a.History(c.Context()))
		})
}

func TellHistory(w io.Writer, h api.History) {
	fmt.Fprintln(w, h.Sentence)
	for _, e := range h.Runs {
		fmt.Fprintf(w, "%s  %s", say.Moment(e.Began), e.Run)
		for _, x := range []struct {
			name string
			m    *api.Measured
		}{{"twist", e.Twist}, {"pitch", e.Pitch}, {"largest nozzle error", e.Largest}} {
			if x.m != nil {
				fmt.Fprintf(w, "  %s %s", x.name, withDoubt(*x.m))
			}
		}
		if e.Bed != nil {
			fmt.Fprintf(w, "  bed %s", say.Temp(*e.Bed))
		}
		fmt.Fprint(w, goneOn("", e.Later))
		switch {
		case e.Change == nil:
			fmt.Fprintf(w, "  (%s)\n", e.Why)
		case e.Change.Beyond:
			fmt.Fprintf(w, "  changed by %s since the run before\n", withDoubt(e.Change.By))
		default:
			fmt.Fprintf(w, "  no change seen (by %s)\n", withDoubt(e.Change.By))
		}
	}
}

// withDoubt writes a measured value with its half width.
func withDoubt(m api.Measured) string {
	digits := 3
	if m.Unit != "mm" {
		digits = 2
	}
	return strings.TrimSpace(fmt.Sprintf("%s ±%.*f %s", say.Signed(m.Value, digits), digits, (m.Hi95-m.Lo95)/2, strings.Replace(m.Unit, "deg", "°", 1)))
}
