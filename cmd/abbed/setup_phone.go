package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"abbed/config"
	"abbed/daemon/client"
)

// askPhone asks whether the page has to open on a phone, and opens it to the network
// then.
func (s *setup) askPhone(context.Context) error {
	s.phone = s.given.Access.From == config.FromPhone
	if _, said := s.given.Given["access.from"]; !said && s.asks {
		yes, err := s.yes("Will you use a phone at the printer? The page is then open to your network, encrypted, to devices that you admit.", false)
		if err != nil {
			return err
		}
		if s.phone = yes; yes {
			s.lines["access.from"] = config.Line{YAML: quotedYAML("access.from", config.FromPhone), Why: "you said at set-up that you will use a phone"}
		}
	}
	if s.phone && !s.flags.Changed("listen") {
		s.done.Listen = net.JoinHostPort("0.0.0.0", portOf(s.done.Listen))
		s.lines["listen"] = config.Line{YAML: quotedYAML("listen", s.done.Listen), Why: "a phone reaches every address of this machine"}
	}
	if s.phone && len(addresses()) == 0 {
		fmt.Fprintln(s.errs, "This machine is on no network now: connect it to that of the phone before you go on.")
	}
	return nil
}

// begin starts abbed at once for a phone, and shows the code, if the person wants that:
// else they do it by the lines that were told.
func (s *setup) begin(c *cobra.Command) error {
	if !s.phone || !s.asks || len(addresses()) == 0 {
		return nil
	}
	yes, err := s.yes("Start abbed now, and show the code for the phone?", true)
	if err != nil || !yes {
		return err
	}
	if !s.system {
		serve := serveCommand()
		serve.SetArgs([]string{"--config", s.done.File})
		serve.SetOut(c.OutOrStdout())
		serve.SetErr(s.errs)
		return serve.ExecuteContext(c.Context())
	}
	for _, line := range s.done.Next {
		if strings.HasPrefix(line, "#") || strings.HasPrefix(line, "abbed ") {
			continue
		}
		fmt.Fprintln(s.errs, "$", line)
		do := exec.CommandContext(c.Context(), "sh", "-c", line)
		do.Stdout, do.Stderr = s.errs, s.errs
		if err := do.Run(); err != nil {
			return fmt.Errorf("setup: %s: %w. The settings are written: go on with the lines above", line, err)
		}
	}
	return s.pair(c)
}

// patienceForStart is how long the service may take until it answers.
const patienceForStart = 30 * time.Second

// pair shows the code once the daemon answers.
func (s *setup) pair(c *cobra.Command) error {
	k := caller{printer: s.name, dirs: []string{s.dir}}
	for end := time.Now().Add(patienceForStart); ; {
		p, err := pairBy(c.Context(), &k)
		if err == nil {
			fmt.Fprintln(c.OutOrStdout(), p.URL)
			return invite(s.errs, p, true)
		}
		if time.Now().After(end) || c.Context().Err() != nil {
			return fmt.Errorf("setup: abbed does not answer yet: %w. Look at journalctl -u abbed@%s, then abbed access pair --printer %s", err, s.name, s.name)
		}
		select {
		case <-c.Context().Done():
		case <-time.After(500 * time.Millisecond):
		}
	}
}

func pairBy(ctx context.Context, k *caller) (client.Paired, error) {
	a, err := k.dial()
	if err != nil {
		return client.Paired{}, err
	}
	if _, err := os.Stat(k.token); err != nil {
		return client.Paired{}, err
	}
	return a.Pair(ctx, "sign")
}
