package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"runtime/debug"
	"sync"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/process"
	"abbed/config"
	"abbed/daemon/access"
	"abbed/daemon/client"
	"abbed/gcode/clock"
)

func serveCommand() *cobra.Command { return serveAt(nil) }

// serveAt is serve in the time of a clock; nil: real time.
func serveAt(time *clock.Clock) *cobra.Command {
	c := &cobra.Command{
		Use:   "serve --port DEV",
		Short: "Run the daemon of a printer: page, API and metrics.",
		Long: `Runs the daemon. DEV is a device, a pseudo-terminal or tcp://host:port, and nothing else is
required. abbed asks the printer for what you do not set. What neither says shows in the
steps that cannot be done.

Opening a real device can reset the printer's board: the page asks first.`,
		Args: cobra.NoArgs,
	}
	var k caller
	k.addSome(c, "printer")
	config.AddFlags(c.Flags())
	c.RunE = func(c *cobra.Command, _ []string) error {
		load := func() (config.Settings, error) {
			return k.settings(false)
		}
		s, err := load()
		if err != nil {
			return err
		}
		if s.Port == "" {
			return usage(fmt.Errorf("serve: no port is given: --port DEV, a device, a pseudo-terminal or tcp://host:port; abbed doctor lists what is plugged in, abbed setup writes a settings file"))
		}
		if os.Getenv("GOMEMLIMIT") == "" {
			debug.SetMemoryLimit(softMemory)
		}
		return service{settings: s, load: load, errs: c.ErrOrStderr(), clock: time}.run(c.Context())
	}
	return c
}

// service is serve with its settings read.
type service struct {
	settings config.Settings
	load     func() (config.Settings, error) // reads them anew
	errs     io.Writer
	clock    *clock.Clock // of the job; nil: real time
}

// run serves until the context ends.
func (v service) run(ctx context.Context) error {
	level := new(slog.LevelVar)
	level.Set(process.Level(v.settings.LogLevel))
	log := process.Logger(v.errs, level)
	ctx, hangUps, quiet := hangUps(ctx)
	defer quiet()
	m := process.ServiceManager(log)
	count := process.StartsOf(m, log)
	if count.Hold(ctx, m) != nil {
		return nil // somebody ended it while it waited
	}
	h, err := build(ctx, plan{settings: v.settings, clock: v.clock, log: log, manager: m})
	if err != nil {
		return err
	}
	v.welcome(h, log)
	beside, end := context.WithCancel(ctx)
	var own sync.WaitGroup
	own.Go(func() { count.Lasting(beside) })
	own.Go(func() {
		reload{load: v.load, to: h.daemon, level: level, manager: m, status: "serving " + h.url(), log: log}.listen(beside, hangUps)
	})
	err = h.run(ctx)
	end()
	own.Wait()
	count.Ended(err)
	return err
}

// welcome says where the page is. The one-time link carries every right: it is
// for a person's terminal, and never for a log.
func (v service) welcome(h *house, log *slog.Logger) {
	beyond, plain := v.settings.Access.Beyond(), h.doors.Certificate == ""
	if process.IntoJournal(v.errs) {
		log.Info("abbed listens", "version", version, "page", h.url(), "token", h.access.TokenFile(), "beyond this machine", beyond, "TLS", !plain,
			"hint", "abbed access pair prints a link for a browser")
		return
	}
	link, expires := h.access.Link(h.access.Base(), access.Everything)
	fmt.Fprintf(v.errs, "abbed listens on %s\nOpen this link once, in the browser that is to operate the printer:\n  %s\nPrograms read the token in %s\n", h.url(), link, h.access.TokenFile())
	if beyond {
		fmt.Fprintln(v.errs, "The page is open beyond this machine, to devices that you admit: abbed access pair admits one more.")
		if plain {
			fmt.Fprintln(v.errs, "Without TLS, whoever is on that network can read along and take over.")
		}
		if err := invite(v.errs, client.Paired{URL: link, Expires: expires, Fingerprint: h.doors.own.Fingerprint}, true); err != nil {
			log.Warn("the code for a phone cannot be drawn", "err", err)
		}
	}
}

// softMemory is from where on the collector works harder, bytes: beside a
// printer stands a small computer, and the design allows 64 MB.
const softMemory = 40 << 20

// alsoEnv are variables of the environment that are no settings.
var alsoEnv = []string{"ABBED_URL", "ABBED_TOKEN_FILE", "ABBED_CA"}
