package setup

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

	"abbed/cmd/abbed/ask"
	"abbed/cmd/abbed/console"
	"abbed/cmd/abbed/house"
	"abbed/config"
	"abbed/daemon/known"
	"abbed/gcode/port"
)

// chooseListen takes the address that was given, else the first free one from
// the default on, that no other printer of this machine has.
func (s *Setup) chooseListen(context.Context) error {
	taken := s.othersListen()
	if s.given.Given["listen"] != "" {
		if other := taken[PortOf(s.given.Listen)]; other != "" {
			return console.Usage(fmt.Errorf("setup: %s is where %s listens; choose another --listen", s.given.Listen, other))
		}
	}
	s.Done.Listen = s.given.Listen
	if s.given.Given["listen"] == "" {
		free, err := freeAddress(s.given.Listen, taken, canBind)
		if err != nil {
			return err
		}
		s.Done.Listen = free
	}
	s.lines["listen"] = config.Line{YAML: quotedYAML("listen", s.Done.Listen), Why: "each printer has its own address; no other one of this machine has this"}
	s.lines["name"] = config.Line{YAML: quotedYAML("name", s.Name), Why: "page, commands, metrics and room call it so"}
	if s.System {
		s.lines["state"] = config.Line{YAML: quotedYAML("state", console.StateOf(s.Name, true)), Why: "the service makes it, and commands find the token there"}
		s.lines["socket"] = config.Line{YAML: quotedYAML("socket", "/run/abbed/"+s.Name+"/socket"), Why: "members of the group abbed may use it"}
	} else {
		s.lines["state"] = config.Line{YAML: quotedYAML("state", console.StateOf(s.Name, false)), Why: "each printer has its own"}
	}
	for _, key := range []string{"state", "socket"} {
		if s.given.Given[key] != "" {
			delete(s.lines, key) // takeFlags writes it
		}
	}
	return nil
}

// othersListen returns which TCP port each other settings file of the directory takes; one that cannot be read takes none.
func (s *Setup) othersListen() map[string]string {
	out := map[string]string{}
	files, _ := filepath.Glob(filepath.Join(s.Dir, "*.yaml"))
	for _, file := range files {
		if file == s.Done.File {
			continue
		}
		other, err := config.Load(config.Options{File: file, Environ: []string{}})
		if err != nil {
			fmt.Fprintf(s.Errs, "%s cannot be read, so its address is not known: %v\n", file, err)
			continue
		}
		out[PortOf(other.Listen)] = strings.TrimSuffix(filepath.Base(file), ".yaml")
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

// PortOf is the port of an address: no two printers of a machine have the same.
func PortOf(address string) string {
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
func (s *Setup) write() error {
	var b bytes.Buffer
	head := fmt.Sprintf("Settings of the printer %s, written by abbed setup. Every setting is here; those that begin with # are at their default: take the # away (and that of the line with the group's name above) to change one. Lengths are mm, speeds mm/s. After a change: systemctl reload abbed@%s, or send the program a hang-up signal; it says what needs a restart.", s.Name, s.Name)
	if err := config.WriteSettings(&b, head, s.lines); err != nil {
		return err
	}
	read := func(string) ([]byte, error) { return b.Bytes(), nil }
	final, err := config.Load(config.Options{File: s.Done.File, Environ: []string{}, Read: read})
	if err != nil {
		return console.Usage(fmt.Errorf("setup: these do not go together, and nothing was written: %w", err))
	}
	if s.Done.Answered {
		for name, step := range known.Examined(final, s.found.facts).Steps {
			s.Done.Steps[name] = step.WhyNot
		}
	}
	if err := os.MkdirAll(filepath.Dir(s.Done.Scrape), 0o755); err != nil {
		return fmt.Errorf("setup: make the directory of the settings: %w", err)
	}
	if err := errors.Join(s.put(s.Done.File, b.Bytes()), s.put(s.Done.Scrape, []byte(Scrape(final)))); err != nil {
		return err
	}
	if s.Done.Rule != "" {
		link, stays := adapterOf(s.Plugs(), s.given.Port).Stable()
		if err := s.put(s.Done.Rule, []byte(Rule(s.Name, link, stays))); err != nil {
			return err
		}
	}
	if text := s.unit(); text == "" {
		s.Done.Unit = ""
	} else if s.Done.Unit != "" {
		if err := os.MkdirAll(filepath.Dir(s.Done.Unit), 0o755); err != nil {
			return fmt.Errorf("setup: %w", err)
		}
		if err := s.put(s.Done.Unit, []byte(text)); err != nil {
			return err
		}
	}
	s.Done.Next = s.next()
	return nil
}

// Scrape is the file by which Prometheus finds a printer (file_sd_configs).
func Scrape(s config.Settings) string {
	labels := "printer: " + s.Name
	if s.Access.Certificate != "" || s.Access.Own() {
		labels += ", __scheme__: https"
	}
	return fmt.Sprintf("# Written by abbed setup; Prometheus reads it by itself.\n- targets: [%q]\n  labels: {%s}\n", ask.AtHome(s.Listen), labels)
}

// put writes a file whole or not at all, and keeps what it replaces.
func (s *Setup) put(name string, text []byte) error {
	old, err := os.ReadFile(name)
	switch {
	case err == nil && !s.Replace:
		return console.Usage(fmt.Errorf("setup: %s is there already; --replace keeps the old one beside it", name))
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
func (s *Setup) next() []string {
	var out []string
	if len(s.Done.Open) > 0 {
		out = append(out, "# look at "+strings.Join(s.Done.Open, ", ")+" in "+s.Done.File)
	}
	if s.Done.Rule != "" {
		out = append(out, "udevadm control --reload", "udevadm trigger --settle --subsystem-match=tty")
	}
	if !s.System {
		return append(out, "abbed serve --config "+s.Done.File)
	}
	if s.Done.Unit != "" {
		out = append(out, "systemctl daemon-reload")
	}
	out = append(out, "systemctl enable --now abbed@"+s.Name)
	if s.Replace { // enable --now leaves alone what runs, with the old settings
		out = append(out, "systemctl restart abbed@"+s.Name)
	}
	return append(out, "abbed access pair --printer "+s.Name)
}

// unit is what the service needs beyond its unit, as a drop-in of systemd; "": nothing.
func (s *Setup) unit() string {
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
	return "# Written by abbed setup: what the printer " + s.Name + " needs beyond the unit.\n[Service]\n" + text
}

// otherDevice reports whether the port is a device that the service's unit does
// not allow.
func (s *Setup) otherDevice() bool {
	real, err := filepath.EvalSymlinks(s.given.Port)
	if err != nil {
		real = s.given.Port
	}
	base := filepath.Base(real)
	return port.Kind(s.given.Port) == port.Device && !strings.HasPrefix(base, "ttyUSB") && !strings.HasPrefix(base, "ttyACM")
}

// beyond reports whether the printer or the page is beyond this machine.
func (s *Setup) beyond() bool {
	addr, network := strings.CutPrefix(s.given.Port, "tcp://")
	return s.phone || s.given.Access.Beyond() || network && !strings.HasPrefix(addr, "127.") && !strings.HasPrefix(addr, "localhost:") && !strings.HasPrefix(addr, "[::1]")
}

// PageAt is where the page will be.
func (s *Setup) PageAt() string {
	if !s.phone {
		return "http://" + ask.AtHome(s.Done.Listen)
	}
	return "https://" + net.JoinHostPort(house.MachineNames(s.Done.Listen)[0], PortOf(s.Done.Listen))
}

// Tell says for a person what was done.
func (s *Setup) Tell() {
	fmt.Fprintf(s.Errs, "\nThe settings of %s are in %s.\nIts page will be at %s.\n", s.Name, s.Done.File, s.PageAt())
	if s.Done.Rule != "" {
		fmt.Fprintf(s.Errs, "The rule for its adapter is in %s.\n", s.Done.Rule)
	}
	open := 0
	for _, name := range slices.Sorted(maps.Keys(s.Done.Steps)) {
		if why := s.Done.Steps[name]; why != "" {
			open++
			fmt.Fprintf(s.Errs, "  %s: not yet: %s\n", name, why)
		}
	}
	if open == 0 {
		fmt.Fprintln(s.Errs, "Nothing is missing for the whole job.")
	}
	fmt.Fprintln(s.Errs, "\nNext:")
	for _, line := range s.Done.Next {
		fmt.Fprintln(s.Errs, "  "+line)
	}
	fmt.Fprintln(s.Errs, "\nKeep to the printer maker's instructions. Nothing moves before you have said on the page that the bed is clear.")
}
