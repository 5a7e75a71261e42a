package serve

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/config/outside"
	"abbed/daemon"
	"abbed/daemon/store"
)

// ExportCommand and importCommand take everything that is kept to another
// place: to another card, another machine, or a drawer.
func ExportCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "export FILE", Short: "Copy all data of a printer into one file.",
		Long: `Writes everything that abbed keeps into one file: JSON lines with a header, and a checksum
at the end. The daemon can go on meanwhile. FILE must not exist; "-" is standard output. The
settings go along. The token and the sessions of browsers do not, but names of people and of
the printer do.`,
		Args: cobra.ExactArgs(1),
	}
	var k kept
	k.add(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		state, err := k.dir()
		if err != nil {
			return err
		}
		out := c.OutOrStdout()
		if args[0] != "-" {
			f, err := os.OpenFile(args[0], os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
			if err != nil {
				return fmt.Errorf("export: %w; give a file that is not there yet", err)
			}
			n, err := exportTo(c, state, f)
			if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
				return errors.Join(err, os.Remove(args[0]))
			}
			fmt.Fprintf(c.ErrOrStderr(), "%d rows written to %s.\n", n, args[0])
			return nil
		}
		_, err = exportTo(c, state, out)
		return err
	}
	return c
}

func exportTo(c *cobra.Command, state string, w io.Writer) (int64, error) {
	n, notice, err := store.Export(c.Context(), state, w, time.Now())
	noted(c, notice)
	if errors.Is(err, store.ErrNone) {
		err = console.Usage(fmt.Errorf("%w: nothing was ever kept in %s; --state names another directory", err, state))
	}
	return n, err
}

// noted says what is spoilt in what went out or came in.
func noted(c *cobra.Command, n store.Notice) {
	if n.Text != "" {
		fmt.Fprintf(c.ErrOrStderr(), "%s %s\n", n.Text, n.Hint)
	}
}

func ImportCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "import FILE", Short: "Read an exported file into an empty state directory.",
		Long: `Reads what abbed data export wrote; "-" is standard input. It checks checksums, versions and
order first, and never overwrites: the state directory must be empty. --printer may name a
printer that is not set up here: its settings come along. The correction in the file is
about the printer as it was then: look at its bed map before you go on.

As root it goes on as the owner of the directory, so that the service can open it.`,
		Args: cobra.ExactArgs(1),
	}
	var k kept
	k.add(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		state, err := k.into()
		if err != nil {
			return err
		}
		in := c.InOrStdin()
		if args[0] != "-" {
			f, err := outside.Open(args[0])
			if err != nil {
				return fmt.Errorf("import: %s: %w", args[0], console.NoFile(err))
			}
			defer f.Close()
			in = f
		}
		owner, err := console.BecomeOwner(state)
		if err != nil {
			return fmt.Errorf("import: %w", err)
		}
		n, notice, err := store.Import(c.Context(), state, in)
		switch {
		case errors.Is(err, os.ErrExist), errors.Is(err, store.ErrInUse):
			return console.Refused(err)
		case errors.Is(err, fs.ErrPermission) && owner != "":
			return fmt.Errorf("%w; this was done as %s, who owns the directory: what is in it has to be his too: chown -R %s: %s", err, owner, owner, state)
		case err != nil:
			return err
		}
		fmt.Fprintf(c.ErrOrStderr(), "%d rows read into %s.\n", n, state)
		if owner != "" {
			fmt.Fprintf(c.ErrOrStderr(), "They belong to %s, as the directory does.\n", owner)
		} else if says := console.StaysRoots(state); says != "" && os.Geteuid() == 0 {
			fmt.Fprintln(c.ErrOrStderr(), says)
		}
		noted(c, notice)
		return bringSettings(c, state)
	}
	return c
}

// into is the state directory that an import makes: of a printer that is not set up here
// yet, where set-up will have it.
func (k *kept) into() (string, error) {
	if k.state != "" || k.Printer == "" || slices.Contains(k.Known(), k.Printer) {
		return k.dir()
	}
	if !console.Instance.MatchString(k.Printer) {
		return "", k.IsKnown()
	}
	state := console.StateOf(k.Printer, os.Geteuid() == 0)
	return state, console.ForService(state)
}

// bringSettings writes down the settings that came with the data.
func bringSettings(c *cobra.Command, state string) error {
	s, _, err := store.Open(c.Context(), state)
	if err != nil {
		return err
	}
	text, _, err := s.Report(c.Context(), daemon.SettingsReport)
	if err = errors.Join(err, s.Close()); errors.Is(err, store.ErrNone) {
		return nil // of an earlier version
	}
	given := map[string]string{}
	if err == nil {
		err = json.Unmarshal([]byte(text), &given)
	}
	if err != nil {
		return fmt.Errorf("import: the settings that came along: %w", err)
	}
	lines := map[string]config.Line{}
	for key, yaml := range given {
		if key == "state" || key == "port" || key == "listen" || key == "socket" {
			continue // of the other machine
		}
		lines[key] = config.Line{YAML: yaml, Why: "it came with the data"}
	}
	file := filepath.Join(state, console.CarriedName)
	err = console.Becomes(file, func(w io.Writer) error {
		return config.WriteSettings(w, "Settings that came with the data of a printer; abbed setup takes them over.", lines)
	})
	if err == nil {
		fmt.Fprintf(c.ErrOrStderr(), "Its settings came along, in %s: abbed setup NAME takes them over.\n", file)
	}
	return err
}

// kept is the state directory that a command works on.
type kept struct {
	ask.Caller
	state string
}

func (k *kept) add(c *cobra.Command) {
	k.AddSome(c, "printer")
	c.Flags().StringVar(&k.state, "state", os.Getenv("ABBED_STATE"), "The state directory, in place of --printer.")
	c.MarkFlagsMutuallyExclusive("printer", "state")
}

// dir is the state directory that is named, that of the printer, or this user's.
func (k *kept) dir() (string, error) {
	if k.state != "" {
		return k.state, nil
	}
	s, err := k.Settings(true)
	return s.State, err
}
