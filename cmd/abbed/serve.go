package main

import (
	"fmt"
	"os"
	"runtime/debug"

	"github.com/spf13/cobra"

	"abbed/config"
	"abbed/daemon/access"
)

func serveCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "serve --port DEV",
		Short: "Run the daemon beside a printer: page, API and metrics",
		Long: `Runs the daemon. DEV is a device, a pseudo-terminal or tcp://host:port; only
--port is required. What is not set is asked of the printer; what neither says
shows in the steps that cannot be done.

Opening a real device may reset the printer's board: the page asks first.`,
		Args: cobra.NoArgs,
	}
	config.AddFlags(c.Flags())
	c.RunE = func(c *cobra.Command, _ []string) error {
		s, err := config.Load(config.Options{Flags: c.Flags(), AlsoEnv: alsoEnv})
		if err != nil {
			return usage(err)
		}
		if s.Port == "" {
			return usage(fmt.Errorf("serve: no port is given: --port DEV, a device, a pseudo-terminal or tcp://host:port; abbed doctor lists what is plugged in"))
		}
		if os.Getenv("GOMEMLIMIT") == "" {
			debug.SetMemoryLimit(softMemory)
		}
		errs := c.ErrOrStderr()
		h, err := build(c.Context(), plan{settings: s, log: logger(errs, s.LogLevel)})
		if err != nil {
			return err
		}
		link, _ := h.access.Link(h.access.Base(), access.Everything)
		fmt.Fprintf(errs, "abbed listens on %s\nOpen this link once, in the browser that is to operate the printer:\n  %s\nPrograms read the token in %s\n", h.url(), link, h.access.TokenFile())
		if s.Access.Beyond {
			fmt.Fprintln(errs, "It is open beyond this machine: there, everything needs a session (abbed pair) or the token.")
			if s.Access.Certificate == "" {
				fmt.Fprintln(errs, "Without TLS, whoever is on that network can read along and take a session over.")
			}
		}
		return h.run(c.Context())
	}
	return c
}

// softMemory is from where on the collector works harder, bytes: beside a
// printer stands a small computer, and the design allows 64 MB.
const softMemory = 40 << 20

// alsoEnv are variables of the environment that are no settings.
var alsoEnv = []string{"ABBED_URL", "ABBED_TOKEN_FILE", "ABBED_CA"}
