package commands

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/serve"
	"abbed/cmd/abbed/setup"
	"abbed/config"
)

// Groups of commands, in the order in which a person meets them.
const (
	groupStart      = "start"
	groupJob        = "job"
	groupCorrection = "correction"
	groupWorkshop   = "workshop"
	groupUpkeep     = "upkeep"

	groupDevelopment = "development"
)

// extra are commands of special builds.
var extra []func() *cobra.Command

// Commands is the whole tree.
func Commands() *cobra.Command {
	cobra.EnableCommandSorting = false // they stand in the order of the job
	root := &cobra.Command{
		Use:   "abbed",
		Short: "Tells the bed from the beam of a 3D printer that levels itself with a probe.",
		Long: `Measures what the tilt of a 3D printer's head costs at the nozzle. No bed map made with
the printer's own probe shows it. abbed says what to repair, or offers a correction that you
review, approve and can undo.

  Without a printer:   abbed demo
  With a printer:      abbed setup NAME`,
		SilenceErrors: true, SilenceUsage: true,
		RunE:              helped,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.SetFlagErrorFunc(console.Misused)
	root.SetUsageFunc(tellUsage)
	root.AddGroup(&cobra.Group{ID: groupStart, Title: "Start"}, &cobra.Group{ID: groupJob, Title: "The job"},
		&cobra.Group{ID: groupCorrection, Title: "The correction"}, &cobra.Group{ID: groupWorkshop, Title: "In the workshop"},
		&cobra.Group{ID: groupUpkeep, Title: "Upkeep"}, &cobra.Group{ID: groupDevelopment, Title: "For development"})
	root.SetHelpCommandGroupID(groupUpkeep)
	add := func(group string, all ...*cobra.Command) {
		for _, c := range all {
			c.GroupID = group
		}
		root.AddCommand(all...)
	}
	add(groupStart, demo.DemoCommand(), setup.SetupCommand(), serve.ServeCommand(), setup.DoctorCommand())
	add(groupJob, ask.StatusCommand(), ask.MeasureCommand(), ask.ConfirmCommand(),
		ask.Ask("stop", "Request a stop at once; it is not an emergency stop.", cobra.NoArgs, ask.Stop),
		family("runs", "List, read and compare runs.",
			ask.Ask("list", "List all runs, newest first.", cobra.NoArgs, ask.ListRuns),
			ask.Ask("report [RUN]", "Say what a run found; the latest if none is named.", cobra.MaximumNArgs(1), ask.Report),
			ask.CompareCommand(), ask.HistoryCommand(), ask.AnalyseCommand(), ask.ReadingsCommand()))
	add(groupCorrection, family("correction", "Show, verify, undo or carry a correction.",
		ask.Ask("show [RUN]", "Print the correction of a run as CSV.", cobra.MaximumNArgs(1), ask.Table),
		ask.Ask("verify", "Start a run that verifies the correction at the nozzle.", cobra.NoArgs, ask.Prove),
		ask.ReapplyCommand(),
		ask.Ask("undo", "Write the old bed map back.", cobra.NoArgs, ask.Undo),
		ask.CarryCommand()))
	add(groupWorkshop, family("workshop", "Repair with tools, print patches, find a place for the probe.", nil,
		ask.RepairCommand(), ask.ProfileCommand(), ask.ProbePlaceCommand(), ask.PatchesCommand(), ask.PatchReadingsCommand()))
	add(groupUpkeep,
		family("access", "Admit browsers, list them, or end one.", ask.ListSessions(), ask.PairCommand(), ask.EndSession()),
		family("data", "Copy all data into one file, or read such a file in.", nil, serve.ExportCommand(), serve.ImportCommand()),
		console.VersionCommand())
	add(groupDevelopment, demo.BenchCommand())
	settings := &cobra.Command{Use: "settings", Short: "Every setting, with its default and its range."}
	settings.SetHelpFunc(func(c *cobra.Command, _ []string) { _ = config.WriteAll(c.OutOrStdout()) })
	root.AddCommand(settings)
	for _, more := range extra {
		root.AddCommand(more())
	}
	wrapArgs(root)
	return root
}

// family puts commands about one thing under its name. The name alone does what the
// first of them does; nil: it shows the help.
func family(name, short string, first *cobra.Command, more ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{Use: name, Short: short, RunE: helped}
	if first != nil {
		c.RunE = first.RunE
		c.Flags().AddFlagSet(first.Flags())
		c.AddCommand(first)
		c.Annotations = map[string]string{"alone": first.Name()}
	}
	c.AddCommand(more...)
	return c
}

func helped(c *cobra.Command, _ []string) error { return c.Help() }

// wrapArgs makes wrong arguments a matter of usage, in the whole tree.
func wrapArgs(c *cobra.Command) {
	check := c.Args
	if check == nil {
		check = cobra.NoArgs
	}
	c.Args = func(c *cobra.Command, args []string) error {
		if err := check(c, args); err != nil {
			return console.Misused(c, err)
		}
		return nil
	}
	for _, below := range c.Commands() {
		wrapArgs(below)
	}
}

// tellUsage says how a command is used: its own flags, and where the shared ones are
// shown.
func tellUsage(c *cobra.Command) error {
	w := c.OutOrStderr()
	line := c.UseLine()
	if c.HasAvailableSubCommands() {
		line = c.CommandPath() + " COMMAND [flags]"
	}
	fmt.Fprintf(w, "Usage:\n  %s\n", line)
	if alone := c.Annotations["alone"]; alone != "" {
		fmt.Fprintf(w, "\n%s alone is %s %s.\n", c.CommandPath(), c.CommandPath(), alone)
	}
	tellCommands(w, c)
	own, elsewhere := pflag.NewFlagSet("", pflag.ContinueOnError), map[string][]string{}
	c.LocalFlags().VisitAll(func(f *pflag.Flag) {
		if where := f.Annotations[console.SharedFlag]; where != nil {
			elsewhere[where[0]] = append(elsewhere[where[0]], "--"+f.Name)
			return
		}
		own.AddFlag(f)
	})
	tellFlags(w, "Flags", own)
	if !c.HasParent() {
		fmt.Fprintln(w, "\nabbed help settings lists every setting. abbed COMMAND --help says more of a command.")
		tellFlags(w, "Common flags of the commands that ask a printer's daemon", new(ask.Caller).Common())
	}
	for _, where := range slices.Sorted(maps.Keys(elsewhere)) {
		fmt.Fprintf(w, "\nTakes %s too: see %s.\n", strings.Join(elsewhere[where], ", "), where)
	}
	return nil
}

func tellFlags(w io.Writer, title string, f *pflag.FlagSet) {
	if f.HasAvailableFlags() {
		fmt.Fprintf(w, "\n%s:\n%s", title, f.FlagUsages())
	}
}

// tellCommands lists what stands below a command, by groups where there are some.
func tellCommands(w io.Writer, c *cobra.Command) {
	groups := c.Groups()
	if len(groups) == 0 {
		groups = []*cobra.Group{{Title: "Commands"}}
	}
	for _, g := range groups {
		var b strings.Builder
		for _, below := range c.Commands() {
			if below.GroupID == g.ID && below.IsAvailableCommand() {
				fmt.Fprintf(&b, "  %-15s %s\n", below.Name(), below.Short)
			}
		}
		if b.Len() > 0 {
			fmt.Fprintf(w, "\n%s:\n%s", g.Title, b.String())
		}
	}
}
