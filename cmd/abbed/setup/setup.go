package setup

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/sys/unix"

	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/gcode/port"
)

// Setup is one first set-up of a printer.
type Setup struct {
	Name    string
	Dir     string // of the settings files
	Rules   string // of the udev rules; "": none is written
	Units   string // of systemd; "": nothing is written there
	phone   bool   // the page is open to the network
	Replace bool
	Untried bool // the printer is not asked
	allowed bool // nothing prints: the port may be opened
	// Asks says that a person answers; else what is not given stays open.
	Asks bool
	In   *bufio.Reader
	Errs io.Writer
	ends <-chan struct{} // is closed when the program is to end

	Flags  *pflag.FlagSet
	given  config.Settings
	System bool // for the service of the system, and not for this user
	Plugs  func() []port.Adapter
	found  Checkup
	lines  map[string]config.Line
	Done   Outline
}

// Outline is what set-up did, for programs.
type Outline struct {
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

// SetupKeys are the settings that have a flag of their own at set-up.
var SetupKeys = []string{"port", "baud", "listen", "bed", "map_area", "layout", "zero_at", "lever", "trigger", "travel", "clearance", "set"}

func SetupCommand() *cobra.Command {
	s := &Setup{Plugs: port.Adapters}
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
	s.System = os.Geteuid() == 0
	f.StringVar(&s.Dir, "dir", "", "Directory of the settings file (as root /etc/abbed, else abbed in the user's directory of settings).")
	f.StringVar(&s.Rules, "rules", "/etc/udev/rules.d", "Directory of the rule for the adapter.")
	f.BoolVar(&noRule, "no-rule", false, "Write no rule for the adapter (only root writes one).")
	f.BoolVar(&s.Replace, "replace", false, "Replace files that are there; the old ones are kept beside them.")
	f.BoolVar(&s.Untried, "untried", false, "Do not ask the printer, which need not be plugged in.")
	f.BoolVar(&s.allowed, "nothing-prints", false, "You know that nothing prints, so abbed may open the port.")
	f.BoolVar(&asJSON, "json", false, "Say on standard output what was done, for programs; asks nothing.")
	console.AddSettings(f, SetupKeys...)
	c.RunE = func(c *cobra.Command, args []string) error {
		s.Name, s.Flags, s.Errs = args[0], f, c.ErrOrStderr()
		if noRule || !s.System {
			s.Rules = ""
		}
		if s.System {
			s.Units = "/etc/systemd/system"
		}
		if s.Dir == "" {
			s.Dir = console.SettingsDir(s.System)
		}
		s.In, s.Asks = bufio.NewReader(c.InOrStdin()), !asJSON && isTerminal(c.InOrStdin())
		if err := s.Run(c.Context()); err != nil {
			return err
		}
		if asJSON {
			return console.WriteJSON(c.OutOrStdout(), s.Done)
		}
		s.Tell()
		return s.Begin(c)
	}
	return c
}

func isTerminal(r io.Reader) bool {
	f, ok := r.(*os.File)
	if !ok {
		return false
	}
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}

// Run goes from the questions to the files; nothing is written before all is
// known to fit.
func (s *Setup) Run(ctx context.Context) error {
	if !console.Instance.MatchString(s.Name) {
		return console.Usage(fmt.Errorf("setup: the name %q: needs small letters, digits and _, 31 at most, and a letter or digit first", s.Name))
	}
	s.ends = ctx.Done()
	s.Done = Outline{Name: s.Name, Open: []string{}, Steps: map[string]string{}, File: filepath.Join(s.Dir, s.Name+".yaml"),
		Scrape: filepath.Join(s.Dir, "scrape", s.Name+".yml")}
	given, err := config.Load(config.Options{Flags: s.Flags, AlsoEnv: console.AlsoEnv, File: s.older()})
	if err != nil && s.older() != "" {
		fmt.Fprintf(s.Errs, "%s cannot be used, and is replaced as a whole: %v\n", s.older(), err)
		given, err = config.Load(config.Options{Flags: s.Flags, AlsoEnv: console.AlsoEnv})
	}
	if err != nil {
		return console.Usage(err)
	}
	s.given, s.lines = given, map[string]config.Line{}
	if _, err := os.Stat(given.Port); err != nil && !s.Flags.Changed("port") && port.Kind(given.Port) == port.Device {
		s.given.Port = "" // that of another machine, or of another socket
	}
	if s.Rules != "" {
		s.Done.Rule = filepath.Join(s.Rules, "70-abbed-"+s.Name+".rules")
	}
	if s.Units != "" {
		s.Done.Unit = filepath.Join(s.Units, "abbed@"+s.Name+".service.d", "setup.conf")
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
func (s *Setup) older() string {
	carried := filepath.Join(console.StateOf(s.Name, s.System), console.CarriedName)
	for file, may := range map[string]bool{s.Done.File: s.Replace, carried: !s.Replace} {
		if _, err := os.Stat(file); err == nil && may {
			return file
		}
	}
	return ""
}

// mayWrite looks before anything is asked whether the files may be written.
func (s *Setup) mayWrite() error {
	if s.Replace {
		return nil
	}
	for _, file := range []string{s.Done.File, s.Done.Rule, s.Done.Scrape, s.Done.Unit} {
		if file == "" {
			continue
		}
		if _, err := os.Lstat(file); err == nil {
			return console.Usage(fmt.Errorf("setup: %s is there already; choose another name, or --replace, which keeps the old one beside it", file))
		}
	}
	return nil
}

// try has doctor ask the printer, with the rate and everything that was given.
func (s *Setup) try(ctx context.Context) error {
	if s.Untried {
		return nil
	}
	if port.Kind(s.given.Port) == port.Device && !s.allowed {
		if err := s.mayOpen(); err != nil {
			return err
		}
	}
	fmt.Fprintf(s.Errs, "Asking the printer at %s; nothing moves.\n", s.given.Port)
	d := &Doctor{Settings: s.given, Patience: atRates, Errs: s.Errs}
	var err error
	if s.found, err = d.examine(ctx); err != nil {
		return fmt.Errorf("setup: %w. Nothing was written; --untried writes settings without asking the printer", err)
	}
	s.Done.Answered = true
	return nil
}

// mayOpen asks for the person's word.
func (s *Setup) mayOpen() error {
	const why = "opening the port may reset the printer's board, and end a print that runs from its own storage"
	if !s.Asks {
		return console.Refused(errors.New("setup: " + why + ": give --nothing-prints if nothing prints, or --untried"))
	}
	yes, err := s.yes("Now the printer is asked what it is: nothing moves, but "+why+".\nIs the printer idle?", false)
	if err == nil && !yes {
		err = console.Refused(errors.New("setup: not done: come back when nothing prints, or use --untried"))
	}
	return err
}
