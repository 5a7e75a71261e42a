package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"abbed/config"
	"abbed/daemon/known"
	"abbed/gcode/port"
)

// chooseListen takes the address that was given, else the first free one from
// the default on, that no other printer of this machine has.
func (s *setup) chooseListen(context.Context) error {
	taken := s.othersListen()
	if s.given.Given["listen"] != "" {
		if other := taken[s.given.Listen]; other != "" {
			return usage(fmt.Errorf("setup: %s is where %s listens; choose another --listen", s.given.Listen, other))
		}
	}
	s.done.Listen = s.given.Listen
	if s.given.Given["listen"] == "" {
		free, err := freeAddress(s.given.Listen, taken, canBind)
		if err != nil {
			return err
		}
		s.done.Listen = free
	}
	s.lines["listen"] = config.Line{YAML: quotedYAML("listen", s.done.Listen), Why: "each printer has its own address; no other one of this machine has this"}
	s.lines["name"] = config.Line{YAML: quotedYAML("name", s.name), Why: "page, commands, metrics and room call it so"}
	if s.system {
		s.lines["state"] = config.Line{YAML: quotedYAML("state", stateOf(s.name, true)), Why: "the service makes it, and commands find the token there"}
		s.lines["socket"] = config.Line{YAML: quotedYAML("socket", "/run/abbed/"+s.name+"/socket"), Why: "members of the group abbed may use it"}
	} else {
		s.lines["state"] = config.Line{YAML: quotedYAML("state", stateOf(s.name, false)), Why: "each printer has its own"}
	}
	for _, key := range []string{"state", "socket"} {
		if s.given.Given[key] != "" {
			delete(s.lines, key) // takeFlags writes it
		}
	}
	return nil
}

// stateOf is where the data of a printer is kept.
func stateOf(name string, system bool) string {
	if system {
		return filepath.Join("/var/lib/abbed", name)
	}
	return filepath.Join(config.StateDir(os.Environ()), name)
}

// othersListen returns which address each other settings file of the directory
// takes; one that cannot be read takes none.
func (s *setup) othersListen() map[string]string {
	out := map[string]string{}
	files, _ := filepath.Glob(filepath.Join(s.dir, "*.yaml"))
	for _, file := range files {
		if file == s.done.File {
			continue
		}
		other, err := config.Load(config.Options{File: file, Environ: []string{}})
		if err != nil {
			fmt.Fprintf(s.errs, "%s cannot be read, so its address is not known: %v\n", file, err)
			continue
		}
		out[other.Listen] = strings.TrimSuffix(filepath.Base(file), ".yaml")
	}
	return out
}

// mostPrinters bounds the search for an address.
const mostPrinters = 1000

// freeAddress returns the first address from first on that is not taken and can
// be bound.
func freeAddress(first string, taken map[string]string, can func(string) bool) (string, error) {
	host, text, err := net.SplitHostPort(first)
	if err != nil {
		return "", err
	}
	low, err := net.LookupPort("tcp", text)
	if err != nil {
		return "", err
	}
	for i := low; i < min(low+mostPrinters, 65536); i++ {
		a := net.JoinHostPort(host, fmt.Sprint(i))
		if taken[a] == "" && can(a) {
			return a, nil
		}
	}
	return "", fmt.Errorf("setup: no address from %s on is free; choose one with --listen", first)
}

func canBind(address string) bool {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return false
	}
	return l.Close() == nil
}

// write writes the files, once the settings are known to load.
func (s *setup) write() error {
	var b bytes.Buffer
	head := fmt.Sprintf("Settings of the printer %s, written by abbed setup. Every setting is here; those that begin with # are at their default: take the # away (and that of the line with the group's name above) to change one. Lengths are mm, speeds mm/s. After a change: systemctl reload abbed@%s, or send the program a hang-up signal; it says what needs a restart.", s.name, s.name)
	if err := config.WriteSettings(&b, head, s.lines); err != nil {
		return err
	}
	read := func(string) ([]byte, error) { return b.Bytes(), nil }
	final, err := config.Load(config.Options{File: s.done.File, Environ: []string{}, Read: read})
	if err != nil {
		return usage(fmt.Errorf("setup: these do not go together, and nothing was written: %w", err))
	}
	if s.done.Answered {
		for name, step := range known.Examined(final, s.found.facts).Steps {
			s.done.Steps[name] = step.WhyNot
		}
	}
	if err := os.MkdirAll(filepath.Dir(s.done.Scrape), 0o755); err != nil {
		return fmt.Errorf("setup: make the directory of the settings: %w", err)
	}
	if err := errors.Join(s.put(s.done.File, b.Bytes()), s.put(s.done.Scrape, []byte(scrape(final)))); err != nil {
		return err
	}
	if s.done.Rule != "" {
		link, stays := adapterOf(s.plugs(), s.given.Port).Stable()
		if err := s.put(s.done.Rule, []byte(rule(s.name, link, stays))); err != nil {
			return err
		}
	}
	s.done.Next = s.next()
	return nil
}

// scrape is the file by which Prometheus finds a printer (file_sd_configs).
func scrape(s config.Settings) string {
	labels := "printer: " + s.Name
	if s.Access.Certificate != "" {
		labels += ", __scheme__: https"
	}
	return fmt.Sprintf("# Written by abbed setup; Prometheus reads it by itself.\n- targets: [%q]\n  labels: {%s}\n", atHome(s.Listen), labels)
}

// put writes a file whole or not at all, and keeps what it replaces.
func (s *setup) put(name string, text []byte) error {
	old, err := os.ReadFile(name)
	switch {
	case err == nil && !s.replace:
		return usage(fmt.Errorf("setup: %s is there already; --replace keeps the old one beside it", name))
	case err == nil:
		err = os.WriteFile(name+".before", old, 0o644)
	case errors.Is(err, fs.ErrNotExist):
		err = nil
	}
	if err != nil {
		return fmt.Errorf("setup: %w", err)
	}
	tmp := name + ".new"
	if err := os.WriteFile(tmp, text, 0o644); err != nil {
		return errors.Join(fmt.Errorf("setup: %w", err), os.Remove(tmp))
	}
	if err := os.Rename(tmp, name); err != nil {
		return fmt.Errorf("setup: %w", err)
	}
	return nil
}

// next is what to do now, as lines to type; comments begin with #.
func (s *setup) next() []string {
	var out []string
	if len(s.done.Open) > 0 {
		out = append(out, "# look at "+strings.Join(s.done.Open, ", ")+" in "+s.done.File)
	}
	if s.done.Rule != "" {
		out = append(out, "udevadm control --reload", "udevadm trigger --settle --subsystem-match=tty")
	}
	if !s.system {
		return append(out, "abbed serve --config "+s.done.File)
	}
	if s.otherDevice() {
		out = append(out, "# the service may use USB serial adapters only: allow "+s.given.Port+" in a drop-in, see install.md")
	}
	if s.beyond() {
		out = append(out, "# the service lets only this machine in and out: allow the addresses in a drop-in, see install.md")
	}
	return append(out, "systemctl enable --now abbed@"+s.name, "abbed access pair --printer "+s.name)
}

// otherDevice reports whether the port is a device that the service's unit does
// not allow.
func (s *setup) otherDevice() bool {
	real, err := filepath.EvalSymlinks(s.given.Port)
	if err != nil {
		real = s.given.Port
	}
	base := filepath.Base(real)
	return port.Kind(s.given.Port) == port.Device && !strings.HasPrefix(base, "ttyUSB") && !strings.HasPrefix(base, "ttyACM")
}

// beyond reports whether the printer or the page is beyond this machine.
func (s *setup) beyond() bool {
	addr, network := strings.CutPrefix(s.given.Port, "tcp://")
	return s.given.Access.Beyond() || network && !strings.HasPrefix(addr, "127.") && !strings.HasPrefix(addr, "localhost:") && !strings.HasPrefix(addr, "[::1]")
}

// tell says for a person what was done.
func (s *setup) tell() {
	fmt.Fprintf(s.errs, "\nThe settings of %s are in %s.\nIts page will be at http://%s.\n", s.name, s.done.File, s.done.Listen)
	if s.done.Rule != "" {
		fmt.Fprintf(s.errs, "The rule for its adapter is in %s.\n", s.done.Rule)
	}
	for _, name := range slices.Sorted(maps.Keys(s.done.Steps)) {
		if why := s.done.Steps[name]; why != "" {
			fmt.Fprintf(s.errs, "  %s: not yet: %s\n", name, why)
		} else {
			fmt.Fprintf(s.errs, "  %s: can be done\n", name)
		}
	}
	fmt.Fprintln(s.errs, "\nNext:")
	for _, line := range s.done.Next {
		fmt.Fprintln(s.errs, "  "+line)
	}
	fmt.Fprintln(s.errs, "\nKeep to the printer maker's instructions. Nothing moves before you have said on the page that the bed is clear.")
}
