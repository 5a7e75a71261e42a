package ask

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/client"
)

// ReapplyCommand puts the correction back: the approved one onto a bed map that was measured
// again, the rest of one that a kill left half written, or, newly approved, one that was undone.
func ReapplyCommand() *cobra.Command {
	var how api.SignOff
	c := Ask("reapply", "Add the approved correction to a bed map measured again.", cobra.NoArgs,
		func(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
			done, err := a.Applied(c.Context())
			if err == nil && done.State == api.Undone && done.Run != "" {
				return applyAgain(c, a, k, done.Run, how)
			}
			if err := errors.Join(err, a.Reapply(c.Context())); err != nil {
				return err
			}
			return k.tellApplied(c, a)
		})
	c.Long = `Adds the approved correction to the bed map that the printer measured since. It also
finishes one that was cut off. One that was undone needs a new approval: read each caution
that it prints, and name it with --caution ID. --person NAME says who approves.`
	c.Flags().StringSliceVar(&how.Cautions, "caution", nil, "After an undo: id of a caution that you have read; once for each.")
	c.Flags().StringVar(&how.Person, "person", "", "After an undo: who approves.")
	return c
}

// applyAgain approves and applies the correction of a run whose correction was undone.
func applyAgain(c *cobra.Command, a *client.Client, k Caller, run string, how api.SignOff) error {
	t, err := a.Table(c.Context(), run)
	if err != nil {
		return err
	}
	if t.Digest == nil {
		return t.Refused
	}
	switch {
	case lacking(c, t.Cautions, how.Cautions):
		return console.Refused(errors.New("reapply: the correction was undone: read each caution above, and name it with --caution"))
	case how.Person == "":
		return console.Usage(errors.New("reapply: say who approves: --person NAME"))
	}
	signed, err := a.SignOff(c.Context(), *t.Digest, how)
	if err == nil {
		err = a.Apply(c.Context(), *t.Digest, signed.Token)
	}
	if err != nil {
		return err
	}
	return k.tellApplied(c, a)
}

// tellApplied says how the correction is now, and where to see the end of what goes on.
func (k Caller) tellApplied(c *cobra.Command, a *client.Client) error {
	now, err := a.Applied(c.Context())
	if err != nil {
		return err
	}
	fmt.Fprint(c.ErrOrStderr(), now.Sentence)
	if now.State == api.Writing || now.State == api.Verifying {
		fmt.Fprintf(c.ErrOrStderr(), " abbed status%s says when it is done.", k.named())
	}
	fmt.Fprintln(c.ErrOrStderr())
	return nil
}
