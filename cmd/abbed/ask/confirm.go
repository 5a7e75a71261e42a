package ask

import (
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/client"
)

// ConfirmCommand gives a person's word on a run from a terminal beside the
// machine. Each caution is named by the one who read it; there is no word for all.
func ConfirmCommand() *cobra.Command {
	var how api.Confirm
	thick := 0.10
	c := Ask("confirm [RUN]", "Confirm the cautions of a run that waits; then the head moves.", cobra.MaximumNArgs(1),
		func(c *cobra.Command, a *client.Client, k Caller, args []string) error {
			how.Gauge = &thick
			id, err := waiting(c, a, args)
			if err == nil && id == "" {
				return putBack(c, a, how)
			}
			if err != nil {
				return err
			}
			return GiveWord(c, a, id, how)
		})
	c.Long = `Without --caution the cautions of the run are printed, and nothing moves. Read each,
look at the machine, and name each with --caution ID. --paper takes one sheet
of paper in place of a feeler gauge. Each reading is less certain then, and most of all the
Z offset.`
	f := c.Flags()
	f.StringSliceVar(&how.Cautions, "caution", nil, "Id of a caution that you have read and found to be so; once for each.")
	f.StringVar(&how.Person, "person", "", "Who gives the word.")
	f.BoolVar(&how.Paper, "paper", false, "One sheet of paper goes under the nozzle, in place of a feeler gauge.")
	f.Float64Var(&thick, "gauge-mm", thick, "Its thickness, mm; office paper of 80 g/m2 is about 0.10.")
	return c
}

// waiting is the run that is named, or the one that waits for a confirmation; "": none
// does, but what a run switched off has to be put back.
func waiting(c *cobra.Command, a *client.Client, args []string) (string, error) {
	id, err := firstRun(c, a, args, func(r api.Run) bool { return r.State == api.AwaitingConfirmation })
	if err != nil || id != "" {
		return id, err
	}
	p, err := a.Printer(c.Context())
	if err == nil && len(p.Owed) == 0 {
		err = errors.New("confirm: no run waits for a confirmation: abbed measure starts one")
	}
	return "", err
}

// putBack gives a person's word that the head may home, so that what a run switched off is
// put back.
func putBack(c *cobra.Command, a *client.Client, how api.Confirm) error {
	homes := []api.Caution{{ID: "homes", Text: "The bed is clear, the head moves freely, and I can reach the power switch: the head may home."}}
	if lacking(c, homes, how.Cautions) {
		return console.Refused(errors.New("confirm: nothing is confirmed yet: look at the machine, then name the caution above with --caution"))
	}
	if how.Person == "" {
		return console.Usage(errors.New("confirm: say who confirms: --person NAME"))
	}
	if err := a.Resolve(c.Context(), "finish"); err != nil {
		return err
	}
	fmt.Fprintln(c.ErrOrStderr(), "Confirmed: the head homes now. Stay at the machine.")
	return nil
}

// lacking prints the cautions that are not among those named, and says whether there are any.
func lacking(c *cobra.Command, all []api.Caution, named []string) (some bool) {
	for _, x := range all {
		if !slices.Contains(named, x.ID) {
			some = true
			fmt.Fprintf(c.ErrOrStderr(), "--caution %s\n    %s\n", x.ID, x.Text)
		}
	}
	return some
}

func GiveWord(c *cobra.Command, a *client.Client, id string, how api.Confirm) error {
	run, err := a.Run(c.Context(), id)
	if err != nil {
		return err
	}
	lacking(c, run.Cautions, how.Cautions) // the daemon refuses if one is
	for _, w := range api.Warnings {
		fmt.Fprintln(c.ErrOrStderr(), w)
	}
	switch {
	case len(how.Cautions) == 0:
		return console.Refused(errors.New("confirm: nothing is confirmed yet: look at the machine, then name each caution above with --caution"))
	case how.Person == "":
		return console.Usage(errors.New("confirm: say who confirms: --person NAME"))
	}
	if err := a.Confirm(c.Context(), id, how); err != nil {
		return err
	}
	fmt.Fprintln(c.ErrOrStderr(), "Confirmed: the head moves now. Stay at the machine; abbed status says where the run stands.")
	return nil
}
