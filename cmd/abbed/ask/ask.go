package ask

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/client"
)

type verb func(*cobra.Command, *client.Client, Caller, []string) error

func Ask(use, short string, args cobra.PositionalArgs, do verb) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, Args: args}
	var k Caller
	k.add(c)
	c.RunE = func(c *cobra.Command, args []string) error { return k.asks(c, args, do) }
	return c
}

// asks finds the daemon and asks it.
func (k *Caller) asks(c *cobra.Command, args []string, do verb) error {
	a, err := k.Dial()
	if err != nil {
		return err
	}
	return coded(k.hinted(do(c, a, *k, args)))
}

// hinted says to whom the token belongs where it is what is missing.
func (k *Caller) hinted(err error) error {
	var e *api.Error
	if k.locked && errors.As(err, &e) && (e.Code == "unauthorized" || e.Code == "forbidden") {
		e.Hint = "Use sudo: only root and the service may read the operator's token."
	}
	return err
}

// give gives an answer as JSON to programs, told to people; its refusal is passed on.
func give[T any](c *cobra.Command, k Caller, tell func(io.Writer, T)) func(T, error) error {
	return func(answer T, err error) error {
		if err != nil {
			return err
		}
		if k.Json {
			return console.WriteJSON(c.OutOrStdout(), answer)
		}
		tell(c.OutOrStdout(), answer)
		return nil
	}
}

// coded gives refusals of the daemon their exit codes.
func coded(err error) error {
	var e *api.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code {
	case "foreign-use", "owed", "unopened", "unhomed", "table-refused", "token-bad", "map-changed", "map-mixed", "too-large", "too-steep", "journal-damaged", "printer-changed", "expired", "not-applied", "digs-in":
		return console.Refused(err)
	case "unknown-step", "bad-value", "bad-json":
		return console.Usage(err)
	}
	return err
}

// unknown reports whether the daemon does not know what it was asked for: after an
// upgrade an older one goes on until it is started again.
func unknown(err error) bool {
	var e *api.Error
	return errors.As(err, &e) && e.Code == "not-found"
}

func StatusCommand() *cobra.Command {
	var all bool
	var k Caller
	c := &cobra.Command{Use: "status", Short: "Say how printer, run and correction are.", Args: cobra.NoArgs}
	k.add(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if all {
			return k.tellAll(c)
		}
		return k.asks(c, args, tellStatus)
	}
	c.Flags().BoolVar(&all, "all", false, "Of every printer that this machine knows.")
	return c
}

func tellStatus(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
	p, err := a.Printer(c.Context())
	if err != nil {
		return err
	}
	runs, err := a.Runs(c.Context())
	if err != nil {
		return err
	}
	applied, err := a.Applied(c.Context())
	if err != nil {
		return err
	}
	check, err := a.Check(c.Context())
	if err != nil && !unknown(err) {
		return err
	}
	if k.Json {
		return console.WriteJSON(c.OutOrStdout(), map[string]any{"printer": p, "runs": runs, "applied": applied, "check": check})
	}
	out := c.OutOrStdout()
	fmt.Fprintf(out, "printer %s: %s: %s\n", p.Name, p.Link, p.Sentence)
	for _, t := range p.Todo {
		fmt.Fprintf(out, "to do: %s %s\n", t.Act, t.Says)
		for _, line := range t.Commands {
			fmt.Fprintf(out, "       %s%s\n", line, k.named())
		}
	}
	if len(runs) > 0 {
		r := runs[0]
		step := string(r.Step)
		if r.Progress.Of > 0 {
			step += fmt.Sprintf(" %d of %d", r.Progress.Done, r.Progress.Of)
		}
		fmt.Fprintf(out, "run %s%s: %s, %s: %s\n", r.ID, goneOn(r.For, r.Later), r.State, step, r.Sentence)
		if f := r.Forecast; f != nil {
			fmt.Fprintf(out, "ahead: %s\n", Ahead(*f))
		}
	} else {
		fmt.Fprintln(out, "no run yet")
	}
	fmt.Fprintf(out, "correction: %s: %s\n", applied.State, applied.Sentence)
	if check.Due != nil {
		fmt.Fprintf(out, "calendar: %s\n", check.Sentence)
	}
	return nil
}

// named is how a command names the printer, if it has to.
func (k Caller) named() string {
	if k.Printer == "" || len(k.Known()) < 2 {
		return ""
	}
	return " --printer " + k.Printer
}

// tellAll says how every printer is: those of the room of the first daemon that answers, and
// those that were set up here and are not in it.
func (k Caller) tellAll(c *cobra.Command) error {
	names := k.Known()
	if k.Printer != "" || k.addressed() || len(names) == 0 {
		names = []string{k.Printer}
	}
	var all []api.Neighbour
	var silent []string
	at := func(name string) int {
		return slices.IndexFunc(all, func(n api.Neighbour) bool { return n.Name == name })
	}
	for _, name := range names {
		one := k
		one.Printer = name
		if at(name) >= 0 {
			continue
		}
		found, err := one.neighbours(c.Context(), len(all) == 0)
		if err != nil && len(names) == 1 {
			return coded(err)
		}
		if all = append(all, found...); err != nil {
			silent = append(silent, name)
		}
	}
	for _, name := range silent {
		if at(name) < 0 {
			all = append(all, api.Neighbour{Name: name, Todo: []api.Todo{}})
		}
		all[at(name)].Silent = true
	}
	slices.SortFunc(all, func(a, b api.Neighbour) int { return strings.Compare(a.Name, b.Name) })
	return give(c, k, tellNeighbours)(all, nil)
}

func tellNeighbours(w io.Writer, all []api.Neighbour) {
	for _, n := range all {
		is := string(n.Link)
		if n.Ended {
			is = "switched off"
		} else if n.Silent {
			is = "does not answer"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", n.Name, is, n.URL)
		for _, t := range n.Todo {
			fmt.Fprintf(w, "\t%s %s\n", t.Act, t.Says)
		}
	}
}

// neighbours are the printers of a daemon's room, or its own alone.
func (k *Caller) neighbours(ctx context.Context, room bool) ([]api.Neighbour, error) {
	a, err := k.Dial()
	if err != nil {
		return nil, err
	}
	if room {
		if all, err := a.Room(ctx); err != nil || len(all) > 0 {
			return all, err
		}
	}
	p, err := a.Printer(ctx)
	if err != nil {
		return nil, err
	}
	return []api.Neighbour{{Name: p.Name, URL: k.URL, Link: p.Link, Todo: p.Todo}}, nil
}

func MeasureCommand() *cobra.Command {
	var n api.NewRun
	var nozzle, bed float64
	c := Ask("measure [STEP ...]", "Start a run; it waits for a person's confirmation.", cobra.ArbitraryArgs,
		func(c *cobra.Command, a *client.Client, k Caller, steps []string) error {
			f := c.Flags()
			if f.Changed("heat-nozzle") || f.Changed("heat-bed") {
				n.Heat = &api.Heat{Nozzle: &nozzle, Bed: &bed}
			}
			n.Steps = steps
			return measure(c, a, k, n)
		})
	c.Flags().StringVar(&n.For, "for", "", "An earlier run: take the readings that it still asks for. They join it.")
	c.Flags().BoolVar(&n.Quick, "quick", false, "A check: repeat and survey with few touches, and no feeler gauge.")
	c.Flags().Float64Var(&bed, "heat-bed", 0, "Heat the bed first, °C. It burns, and goes off when the run ends.")
	c.Flags().Float64Var(&nozzle, "heat-nozzle", 0, "Heat the nozzle first, °C. It burns and oozes, and goes off when the run ends.")
	c.Flags().BoolVar(&n.Attended, "attended", false, "You stand there, and the bed is clear: begin at once, if attended_starts allows it.")
	return c
}

func measure(c *cobra.Command, a *client.Client, k Caller, n api.NewRun) error {
	if len(n.Steps) == 0 {
		n.Steps = []string{"repeat", "gauging", "survey"}
		switch {
		case n.For != "":
			n.Steps = []string{"gauging"}
		case n.Quick:
			n.Steps = []string{"repeat", "survey"}
		}
	}
	return give(c, k, func(w io.Writer, r api.Run) {
		fmt.Fprintln(w, r.ID)
		if r.State != api.AwaitingConfirmation {
			fmt.Fprintln(c.ErrOrStderr(), "The run has begun: the head moves. Stay at the machine.")
			return
		}
		k.waits(c)
	})(a.Start(c.Context(), n))
}

// waits says where a run that was started is confirmed.
func (k Caller) waits(c *cobra.Command) {
	on := "the page " + k.URL
	if strings.HasPrefix(k.URL, "unix:") {
		on = "the page"
	}
	fmt.Fprintf(c.ErrOrStderr(), "The run waits for a person's confirmation: on %s, or with abbed confirm%s.\n", on, k.named())
}

func Stop(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
	said, err := a.Stop(c.Context())
	if err != nil {
		return err
	}
	if k.Printer != "" {
		fmt.Fprintf(c.ErrOrStderr(), "%s: ", k.Printer)
	}
	if said.Requested {
		fmt.Fprint(c.ErrOrStderr(), "The stop request went out. Look at the machine. ")
	}
	fmt.Fprintln(c.ErrOrStderr(), said.Text)
	return nil
}

func Undo(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
	if err := a.Undo(c.Context()); err != nil {
		return err
	}
	return k.tellApplied(c, a)
}

func Prove(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
	r, err := a.Prove(c.Context())
	if err != nil {
		return err
	}
	fmt.Fprintln(c.OutOrStdout(), r.ID)
	k.waits(c)
	return nil
}

// Chosen is the run that is named, or the latest that tells of the machine: a proof
// tells of the correction alone.
func Chosen(c *cobra.Command, a *client.Client, args []string) (string, error) {
	id, err := firstRun(c, a, args, func(r api.Run) bool { return !r.Proves() })
	if err == nil && id == "" {
		err = errors.New("there is no run yet: abbed measure starts one")
	}
	return id, err
}

// firstRun is the run that is named, or the latest that fits; "": none does.
func firstRun(c *cobra.Command, a *client.Client, args []string, fits func(api.Run) bool) (string, error) {
	if len(args) > 0 {
		return args[0], nil
	}
	runs, err := a.Runs(c.Context())
	if i := slices.IndexFunc(runs, fits); i >= 0 {
		return runs[i].ID, err
	}
	return "", err
}

func outcomeOf(c *cobra.Command, a *client.Client, args []string) (*Outcome, error) {
	id, err := Chosen(c, a, args)
	if err != nil {
		return nil, err
	}
	o := &Outcome{}
	if o.Run, err = a.Run(c.Context(), id); err != nil {
		return nil, err
	}
	return o, o.Read(c.Context(), a)
}

func Report(c *cobra.Command, a *client.Client, k Caller, args []string) error {
	o, err := outcomeOf(c, a, args)
	if err != nil {
		return err
	}
	if k.Json {
		return console.WriteJSON(c.OutOrStdout(), o.Analysis)
	}
	o.Tell(c.OutOrStdout())
	return nil
}

func Table(c *cobra.Command, a *client.Client, k Caller, args []string) error {
	o, err := outcomeOf(c, a, args)
	if err != nil {
		return err
	}
	if k.Json {
		return console.WriteJSON(c.OutOrStdout(), o.Table)
	}
	if o.Table.Digest == nil {
		return console.Refused(o.Table.Refused)
	}
	return writeTable(io.Writer(c.OutOrStdout()), o.Table)
}
