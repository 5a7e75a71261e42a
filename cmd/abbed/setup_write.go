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
		if other := taken[portOf(s.given.Listen)]; other != "" {
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

// othersListen returns which TCP port each other settings file of the directory takes; one that cannot be read takes none.
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
		out[portOf(other.Listen)] = strings.TrimSuffix(filepath.Base(file), ".yaml")
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
		if taken[fmt.Sprint(i)] == "" && can(a) {
			return a, nil
		}
	}
	return "", fmt.Errorf("setup: no address from %s on is free; choose one with --listen", first)
}

// portOf is the port of an address: no two printers of a machine have the same.
func portOf(address string) string {
	_, port, _ := net.SplitHostPort(address)
	return port
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
	if text := s.unit(); text == "" {
		s.done.Unit = ""
	} else if s.done.Unit != "" {
		if err := os.MkdirAll(filepath.Dir(s.done.Unit), 0o755); err != nil {
			return fmt.Errorf("setup: %w", err)
		}
		if err := s.put(s.done.Unit, []byte(text)); err != nil {
			return err
		}
	}
	s.done.Next = s.next()
	return nil
}

// scrape is the file by which Prometheus finds a printer (file_sd_configs).
func scrape(s config.Settings) string {
	labels := "printer: " + s.Name
	if s.Access.Certificate != "" || s.Access.Own() {
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
	if s.done.Unit != "" {
		out = append(out, "systemctl daemon-reload")
	}
	return append(out, "systemctl enable --now abbed@"+s.name, "abbed access pair --printer "+s.name)
}

// unit is what the service needs beyond its unit, as a drop-in of systemd; "": nothing.
func (s *setup) unit() string {
	text := ""
	if s.otherDevice() {
		text += "DeviceAllow=" + s.given.Port + " rw\n"
	}
	if s.beyond() {
		// RFC 1918, 3927, 4193, 4291; AF_NETLINK, since the addresses of this machine are asked of the system.
		text += "IPAddressAllow=10.0.0.0/8 172.16.0.0/12 192.168.0.0/16 169.254.0.0/16 fc00::/7 fe80::/10\nRestrictAddressFamilies=AF_NETLINK\n"
	}
	if text == "" {
		return ""
	}
	return "# Written by abbed setup: what the printer " + s.name + " needs beyond the unit.\n[Service]\n" + text
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
	return s.phone || s.given.Access.Beyond() || network && !strings.HasPrefix(addr, "127.") && !strings.HasPrefix(addr, "localhost:") && !strings.HasPrefix(addr, "[::1]")
}

// pageAt is where the page will be.
func (s *setup) pageAt() string {
	if !s.phone {
		return "http://" + atHome(s.done.Listen)
	}
	return "https://" + net.JoinHostPort(machineNames(s.done.Listen)[0], portOf(s.done.Listen))
}

// tell says for a person what was done.
func (s *setup) tell() {
	fmt.Fprintf(s.errs, "\nThe settings of %s are in %s.\nIts page will be at %s.\n", s.name, s.done.File, s.pageAt())
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
