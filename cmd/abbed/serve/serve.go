package serve

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"runtime/debug"
	"sync"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/house"
	"abbed/cmd/abbed/process"
	"abbed/config"
	"abbed/daemon/access"
	"abbed/daemon/client"
	"abbed/gcode/clock"
)

func ServeCommand() *cobra.Command { return ServeAt(nil) }

// ServeAt is serve in the time of a clock; nil: real time.
func ServeAt(time *clock.Clock) *cobra.Command {
	c := &cobra.Command{
		Use:   "serve --port DEV",
		Short: "Run the daemon of a printer: page, API and metrics.",
		Long: `Runs the daemon. DEV is a device, a pseudo-terminal or tcp://host:port, and nothing else is
required. abbed asks the printer for what you do not set. What neither says shows in the
steps that cannot be done.

Opening a real device can reset the printer's board: the page asks first.`,
		Args: cobra.NoArgs,
	}
	var k ask.Caller
	k.AddSome(c, "printer")
	config.AddFlags(c.Flags())
	c.RunE = func(c *cobra.Command, _ []string) error {
		load := func() (config.Settings, error) {
			return k.Settings(false)
		}
		s, err := load()
		if err != nil {
			return err
		}
		if s.Port == "" {
			return console.Usage(fmt.Errorf("serve: no port is given: --port DEV, a device, a pseudo-terminal or tcp://host:port; abbed doctor lists what is plugged in, abbed setup writes a settings file"))
		}
		if os.Getenv("GOMEMLIMIT") == "" {
			debug.SetMemoryLimit(softMemory)
		}
		return Service{Settings: s, Load: load, Errs: c.ErrOrStderr(), clock: time}.Run(c.Context())
	}
	return c
}

// Service is serve with its settings read.
type Service struct {
	Settings config.Settings
	Load     func() (config.Settings, error) // reads them anew
	Errs     io.Writer
	clock    *clock.Clock // of the job; nil: real time
}

// Run serves until the context ends.
func (v Service) Run(ctx context.Context) error {
	level := new(slog.LevelVar)
	level.Set(process.Level(v.Settings.LogLevel))
	log := process.Logger(v.Errs, level)
	ctx, hangUps, quiet := house.HangUps(ctx)
	defer quiet()
	m := process.ServiceManager(log)
	count := process.StartsOf(m, log)
	if count.Hold(ctx, m) != nil {
		return nil // somebody ended it while it waited
	}
	h, err := house.Build(ctx, house.Plan{Settings: v.Settings, Clock: v.clock, Log: log, Manager: m})
	if err != nil {
		return err
	}
	v.welcome(h, log)
	beside, end := context.WithCancel(ctx)
	var own sync.WaitGroup
	own.Go(func() { count.Lasting(beside) })
	own.Go(func() {
		house.Reload{Load: v.Load, To: h.Daemon, Level: level, Manager: m, Status: "serving " + h.URL(), Log: log}.Listen(beside, hangUps)
	})
	err = h.Run(ctx)
	end()
	own.Wait()
	count.Ended(err)
	return err
}

// welcome says where the page is. The one-time link carries every right: it is
// for a person's terminal, and never for a log.
func (v Service) welcome(h *house.House, log *slog.Logger) {
	beyond, plain := v.Settings.Access.Beyond(), h.Doors.Certificate == ""
	if process.IntoJournal(v.Errs) {
		log.Info("abbed listens", "version", console.Version, "page", h.URL(), "token", h.Access.TokenFile(), "beyond this machine", beyond, "TLS", !plain,
			"hint", "abbed access pair prints a link for a browser")
		return
	}
	link, expires := h.Access.Link(h.Access.Base(), access.Everything)
	fmt.Fprintf(v.Errs, "abbed listens on %s\nOpen this link once, in the browser that is to operate the printer:\n  %s\nPrograms read the token in %s\n", h.URL(), link, h.Access.TokenFile())
	if beyond {
		fmt.Fprintln(v.Errs, "The page is open beyond this machine, to devices that you admit: abbed access pair admits one more.")
		if plain {
			fmt.Fprintln(v.Errs, "Without TLS, whoever is on that network can read along and take over.")
		}
		if err := ask.Invite(v.Errs, client.Paired{URL: link, Expires: expires, Fingerprint: h.Doors.Own.Fingerprint}, true); err != nil {
			log.Warn("the code for a phone cannot be drawn", "err", err)
		}
	}
}

// softMemory is from where on the collector works harder, bytes: beside a
// printer stands a small computer, and the design allows 64 MB.
const softMemory = 40 << 20
