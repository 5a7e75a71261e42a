package setup

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/house"
	"abbed/cmd/abbed/serve"
	"abbed/config"
	"abbed/daemon/client"
)

// askPhone asks whether the page has to open on a phone, and opens it to the network
// then.
func (s *Setup) askPhone(context.Context) error {
	s.phone = s.given.Access.From == config.FromPhone
	if _, said := s.given.Given["access.from"]; !said && s.Asks {
		yes, err := s.yes("Will you use a phone at the printer? The page is then open to your network, encrypted, to devices that you admit.", false)
		if err != nil {
			return err
		}
		if s.phone = yes; yes {
			s.lines["access.from"] = config.Line{YAML: quotedYAML("access.from", config.FromPhone), Why: "you said at set-up that you will use a phone"}
		}
	}
	if s.phone && !s.Flags.Changed("listen") {
		s.Done.Listen = net.JoinHostPort("0.0.0.0", PortOf(s.Done.Listen))
		s.lines["listen"] = config.Line{YAML: quotedYAML("listen", s.Done.Listen), Why: "a phone reaches every address of this machine"}
	}
	if s.phone && len(house.Addresses()) == 0 {
		fmt.Fprintln(s.Errs, "This machine is on no network now: connect it to that of the phone before you go on.")
	}
	return nil
}

// Begin starts abbed at once for a phone, and shows the code, if the person wants that:
// else they do it by the lines that were told.
func (s *Setup) Begin(c *cobra.Command) error {
	if !s.phone || !s.Asks || len(house.Addresses()) == 0 {
		return nil
	}
	yes, err := s.yes("Start abbed now, and show the code for the phone?", true)
	if err != nil || !yes {
		return err
	}
	if !s.System {
		serve := serve.ServeCommand()
		serve.SetArgs([]string{"--config", s.Done.File})
		serve.SetOut(c.OutOrStdout())
		serve.SetErr(s.Errs)
		return serve.ExecuteContext(c.Context())
	}
	for _, line := range s.Done.Next {
		if strings.HasPrefix(line, "#") || strings.HasPrefix(line, "abbed ") {
			continue
		}
		fmt.Fprintln(s.Errs, "$", line)
		do := exec.CommandContext(c.Context(), "sh", "-c", line)
		do.Stdout, do.Stderr = s.Errs, s.Errs
		if err := do.Run(); err != nil {
			return fmt.Errorf("setup: %s: %w. The settings are written: go on with the lines above", line, err)
		}
	}
	return s.pair(c)
}

// patienceForStart is how long the service may take until it answers.
const patienceForStart = 30 * time.Second

// pair shows the code once the daemon answers.
func (s *Setup) pair(c *cobra.Command) error {
	k := ask.Caller{Printer: s.Name, Dirs: []string{s.Dir}}
	for end := time.Now().Add(patienceForStart); ; {
		p, err := pairBy(c.Context(), &k)
		if err == nil {
			fmt.Fprintln(c.OutOrStdout(), p.URL)
			return ask.Invite(s.Errs, p, true)
		}
		if time.Now().After(end) || c.Context().Err() != nil {
			return fmt.Errorf("setup: abbed does not answer yet: %w. Look at journalctl -u abbed@%s, then abbed access pair --printer %s", err, s.Name, s.Name)
		}
		select {
		case <-c.Context().Done():
		case <-time.After(500 * time.Millisecond):
		}
	}
}

func pairBy(ctx context.Context, k *ask.Caller) (client.Paired, error) {
	a, err := k.Dial()
	if err != nil {
		return client.Paired{}, err
	}
	if _, err := os.Stat(k.Token); err != nil {
		return client.Paired{}, err
	}
	return a.Pair(ctx, "sign")
}
