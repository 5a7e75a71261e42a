package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/sys/unix"

	"abbed/config"
	"abbed/gcode/port"
)

// setup is one first set-up of a printer.
type setup struct {
	name    string
	dir     string // of the settings files
	rules   string // of the udev rules; "": none is written
	units   string // of systemd; "": nothing is written there
	phone   bool   // the page is open to the network
	replace bool
	untried bool // the printer is not asked
	allowed bool // nothing prints: the port may be opened
	// asks says that a person answers; else what is not given stays open.
	asks bool
	in   *bufio.Reader
	errs io.Writer
	ends <-chan struct{} // is closed when the program is to end

	flags  *pflag.FlagSet
	given  config.Settings
	system bool // for the service of the system, and not for this user
	plugs  func() []port.Adapter
	found  checkup
	lines  map[string]config.Line
	done   outline
}

// outline is what set-up did, for programs.
type outline struct {
	Name     string `json:"name"`
	File     string `json:"file"`
	Rule     string `json:"rule,omitempty"`
	Scrape   string `json:"scrape"` // where Prometheus reads its address
	Unit     string `json:"unit,omitempty"`
	Port     string `json:"port"`
	Listen   string `json:"listen"`
	Answered bool   `json:"answered"`
	// Open are settings that somebody has to look at; Steps says for each step why
	// it cannot be done with these settings ("": it can), if the printer was asked.
	Open  []string          `json:"open"`
	Steps map[string]string `json:"steps"`
	Next  []string          `json:"next"`
}

// instance is what a printer may be called: a part of file names, of a unit and
// of a link.
var instance = regexp.MustCompile(`^[a-z0-9][a-z0-9_]{0,30}$`)

// setupKeys are the settings that have a flag of their own at set-up.
var setupKeys = []string{"port", "baud", "listen", "bed", "map_area", "layout", "zero_at", "lever", "trigger", "travel", "clearance", "set"}

func setupCommand() *cobra.Command {
	s := &setup{plugs: port.Adapters}
	var noRule, asJSON bool
	c := &cobra.Command{
		Use:   "setup NAME",
		Short: "Write the settings of a printer, and say what to do next.",
		Long: `Asks the printer what it is, and you what no printer says: where the bed is, whether you
will use a phone, and the like. Then it writes a settings file with comments. NAME is what
you call the printer: small letters, digits and _.

Nothing moves, and nothing changes in the printer. But opening a device can reset its
board, and that ends a print from the printer's own storage. It asks you first, or you give
--nothing-prints.

As root it writes /etc/abbed/NAME.yaml for the service abbed@NAME. It also writes a rule
for the adapter: it is then /dev/abbed/NAME, and the service starts when you plug it in.
As another user it writes a file for abbed serve --config. It overwrites nothing without
--replace, and keeps what it replaces.

Without a terminal it asks nothing: what no flag gives stays open, and the file says so.`,
		Args: cobra.ExactArgs(1),
	}
	f := c.Flags()
	s.system = os.Geteuid() == 0
	f.StringVar(&s.dir, "dir", "", "Directory of the settings file (as root /etc/abbed, else abbed in the user's directory of settings).")
	f.StringVar(&s.rules, "rules", "/etc/udev/rules.d", "Directory of the rule for the adapter.")
	f.BoolVar(&noRule, "no-rule", false, "Write no rule for the adapter (only root writes one).")
	f.BoolVar(&s.replace, "replace", false, "Replace files that are there; the old ones are kept beside them.")
	f.BoolVar(&s.untried, "untried", false, "Do not ask the printer, which need not be plugged in.")
	f.BoolVar(&s.allowed, "nothing-prints", false, "You know that nothing prints, so abbed may open the port.")
	f.BoolVar(&asJSON, "json", false, "Say on standard output what was done, for programs; asks nothing.")
	addSettings(f, setupKeys...)
	c.RunE = func(c *cobra.Command, args []string) error {
		s.name, s.flags, s.errs = args[0], f, c.ErrOrStderr()
		if noRule || !s.system {
			s.rules = ""
		}
		if s.system {
			s.units = "/etc/systemd/system"
		}
		if s.dir == "" {
			s.dir = settingsDir(s.system)
		}
		s.in, s.asks = bufio.NewReader(c.InOrStdin()), !asJSON && isTerminal(c.InOrStdin())
		if err := s.run(c.Context()); err != nil {
			return err
		}
		if asJSON {
			return writeJSON(c.OutOrStdout(), s.done)
		}
		s.tell()
		return s.begin(c)
	}
	return c
}

// settingsDir is where the settings files are.
func settingsDir(system bool) string {
	if system {
		return "/etc/abbed"
	}
	if d, err := os.UserConfigDir(); err == nil {
		return filepath.Join(d, "abbed")
	}
	return "."
}

func isTerminal(r io.Reader) bool {
	f, ok := r.(*os.File)
	if !ok {
		return false
	}
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}

// run goes from the questions to the files; nothing is written before all is
// known to fit.
func (s *setup) run(ctx context.Context) error {
	if !instance.MatchString(s.name) {
		return usage(fmt.Errorf("setup: the name %q: needs small letters, digits and _, 31 at most, and a letter or digit first", s.name))
	}
	s.ends = ctx.Done()
	s.done = outline{Name: s.name, Open: []string{}, Steps: map[string]string{}, File: filepath.Join(s.dir, s.name+".yaml"),
		Scrape: filepath.Join(s.dir, "scrape", s.name+".yml")}
	given, err := config.Load(config.Options{Flags: s.flags, AlsoEnv: alsoEnv, File: s.older()})
	if err != nil && s.older() != "" {
		fmt.Fprintf(s.errs, "%s cannot be used, and is replaced as a whole: %v\n", s.older(), err)
		given, err = config.Load(config.Options{Flags: s.flags, AlsoEnv: alsoEnv})
	}
	if err != nil {
		return usage(err)
	}
	s.given, s.lines = given, map[string]config.Line{}
	if _, err := os.Stat(given.Port); err != nil && !s.flags.Changed("port") && port.Kind(given.Port) == port.Device {
		s.given.Port = "" // that of another machine, or of another socket
	}
	if s.rules != "" {
		s.done.Rule = filepath.Join(s.rules, "70-abbed-"+s.name+".rules")
	}
	if s.units != "" {
		s.done.Unit = filepath.Join(s.units, "abbed@"+s.name+".service.d", "setup.conf")
	}
	if err := s.mayWrite(); err != nil {
		return err
	}
	for _, step := range []func(context.Context) error{s.choosePort, s.chooseListen, s.try, s.askOwner, s.askPhone} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return s.write()
}

// older is the settings file that is replaced, or that came with imported data: what it
// says stays, unless it is said otherwise; "": there is none.
func (s *setup) older() string {
	carried := filepath.Join(stateOf(s.name, s.system), carriedName)
	for file, may := range map[string]bool{s.done.File: s.replace, carried: !s.replace} {
		if _, err := os.Stat(file); err == nil && may {
			return file
		}
	}
	return ""
}

// mayWrite looks before anything is asked whether the files may be written.
func (s *setup) mayWrite() error {
	if s.replace {
		return nil
	}
	for _, file := range []string{s.done.File, s.done.Rule, s.done.Scrape, s.done.Unit} {
		if file == "" {
			continue
		}
		if _, err := os.Lstat(file); err == nil {
			return usage(fmt.Errorf("setup: %s is there already; choose another name, or --replace, which keeps the old one beside it", file))
		}
	}
	return nil
}

// try has doctor ask the printer, with the rate and everything that was given.
func (s *setup) try(ctx context.Context) error {
	if s.untried {
		return nil
	}
	if port.Kind(s.given.Port) == port.Device && !s.allowed {
		if err := s.mayOpen(); err != nil {
			return err
		}
	}
	fmt.Fprintf(s.errs, "Asking the printer at %s; nothing moves.\n", s.given.Port)
	d := &doctor{settings: s.given, patience: atRates, errs: s.errs}
	var err error
	if s.found, err = d.examine(ctx); err != nil {
		return fmt.Errorf("setup: %w. Nothing was written; --untried writes settings without asking the printer", err)
	}
	s.done.Answered = true
	return nil
}

// mayOpen asks for the person's word.
func (s *setup) mayOpen() error {
	const why = "opening the port may reset the printer's board, and end a print that runs from its own storage"
	if !s.asks {
		return refused(errors.New("setup: " + why + ": give --nothing-prints if nothing prints, or --untried"))
	}
	yes, err := s.yes("Now the printer is asked what it is: nothing moves, but "+why+".\nIs the printer idle?", false)
	if err == nil && !yes {
		err = refused(errors.New("setup: not done: come back when nothing prints, or use --untried"))
	}
	return err
}
