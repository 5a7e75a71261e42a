package house

import (
	"context"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
	"time"

	"abbed/config"
	"abbed/daemon/access"
)

// doors is what the settings open, with what a phone needs.
type doors struct {
	config.Access
	Own     access.Own // the zero Own: the owner's certificate, or none
	Machine []string   // names and addresses of this machine, for phones
}

// openDoors completes the settings of the access: for phones with the names and addresses
// of this machine, and with a certificate for them.
//
// Names that it had before stay: an address that comes back needs no new certificate.
func openDoors(s config.Settings, before []string) (doors, error) {
	d := doors{Access: s.Access}
	if s.Access.From != config.FromPhone {
		return d, nil
	}
	names := MachineNames(s.Listen)
	for _, name := range before {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	d.Machine = names
	var err error
	if s.Access.Own() {
		bare := append([]string{}, names...)
		for _, host := range config.List(s.Access.Hosts) {
			if name, _, err := net.SplitHostPort(host); err == nil {
				host = name
			}
			bare = append(bare, strings.Trim(host, "[]"))
		}
		d.Own, err = access.OpenOwn(s.State, bare, time.Now())
		d.Certificate, d.Key = d.Own.Certificate, d.Own.Key
	}
	d.Hosts = strings.Join(append(config.List(s.Access.Hosts), names...), ",")
	return d, err
}

// rules are what the doors open beyond loopback.
func (d doors) rules() access.Rules {
	r := access.Rules{
		Beyond: d.Beyond(), Hosts: config.List(d.Hosts), TLS: d.Certificate != "",
		ScrapeToken: d.ScrapeToken, Fingerprint: d.Own.Fingerprint, Authority: d.Own.Authority,
	}
	r.Proxies, _ = config.Networks(d.Proxies) // Validate has looked
	r.Scrapers, _ = config.Networks(d.Scrapers)
	return r
}

// lookAgain is how often the addresses of this machine are looked at.
const lookAgain = time.Minute

// follow gives the page its new addresses while it is open to phones: a machine may start
// before its network, or get another address. The authority stays, and with it the trust
// of a phone.
func (h *House) follow(ctx context.Context, s config.Settings) {
	tick := time.NewTicker(lookAgain)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if err := h.Renamed(s); err != nil {
			h.log.Warn("the page cannot take the new addresses of this machine", "err", err)
		}
	}
}

// Renamed takes the names that the machine has now.
func (h *House) Renamed(s config.Settings) error {
	d, err := openDoors(s, h.Doors.Machine)
	if err != nil || slices.Equal(d.Machine, h.Doors.Machine) {
		return err
	}
	h.Doors.Machine = d.Machine // of this goroutine alone
	h.log.Info("this machine has other addresses", "now", strings.Join(d.Machine, ", "))
	return h.Access.Rename(d.rules())
}

// MachineNames are the names and addresses by which others reach what listens there. The
// address of the network that leads outward comes first: it stands in the links, since
// every phone opens an address and not every phone finds a name.
func MachineNames(listen string) (out []string) {
	host, _, _ := net.SplitHostPort(listen)
	if at, err := netip.ParseAddr(host); err == nil && !at.IsUnspecified() {
		out = append(out, at.String())
	} else {
		out = Addresses()
	}
	if name, err := os.Hostname(); err == nil && name != "" && name != "localhost" {
		name = strings.ToLower(name)
		out = append(out, name)
		if !strings.Contains(name, ".") {
			out = append(out, name+".local") // RFC 6762, where the machine answers to it
		}
	}
	if len(out) == 0 {
		out = []string{"localhost"} // on no network yet
	}
	return out
}

// Addresses are those of this machine that others reach, the outward one first.
func Addresses() (out []string) {
	add := func(ip net.IP) {
		at, ok := netip.AddrFromSlice(ip)
		at = at.Unmap()
		if ok && at.IsGlobalUnicast() && !strings.Contains(","+strings.Join(out, ",")+",", ","+at.String()+",") {
			out = append(out, at.String())
		}
	}
	// Connecting a UDP socket sends nothing and asks the system for the way (RFC 5737).
	if c, err := net.Dial("udp", "192.0.2.1:9"); err == nil {
		if at, ok := c.LocalAddr().(*net.UDPAddr); ok {
			add(at.IP)
		}
		_ = c.Close()
	}
	all, _ := net.InterfaceAddrs()
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok {
			add(n.IP)
		}
	}
	return out
}
