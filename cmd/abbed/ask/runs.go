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

func ListRuns(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
	return give(c, k, TellRuns)(a.Runs(c.Context()))
}

func TellRuns(w io.Writer, runs []api.Run) {
	if len(runs) == 0 {
		fmt.Fprintln(w, "no run yet: abbed measure starts one")
	}
	for _, r := range runs {
		fmt.Fprintf(w, "%s  %s  %s  %s  %d touches, %d readings%s\n", say.Moment(r.Began), r.ID, r.State,
			strings.Join(r.Steps, " "), r.Touches, r.Gaugings, goneOn(r.For, r.Later))
	}
}

// goneOn says in brackets, with a blank before them, which run one goes on with, and
// which later ones go on with it; "" if there are none.
func goneOn(earlier string, later []string) string {
	switch {
	case earlier != "":
		return " (for run " + earlier + ")"
	case len(later) > 0:
		return " (later readings: " + strings.Join(later, ", ") + ")"
	}
	return ""
}
