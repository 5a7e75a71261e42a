package main

import (
	"net"
	"net/netip"
	"os"
	"strings"
	"time"

	"abbed/config"
	"abbed/daemon/access"
)

// doors is what the settings open, with what a phone needs.
type doors struct {
	config.Access
	own access.Own // the zero Own: the owner's certificate, or none
}

// openDoors completes the settings of the access: for phones with the names and addresses
// of this machine, and with a certificate for them.
func openDoors(s config.Settings) (doors, error) {
	d := doors{Access: s.Access}
	if s.Access.From != config.FromPhone {
		return d, nil
	}
	names := machineNames(s.Listen)
	var err error
	if s.Access.Own() {
		bare := append([]string{}, names...)
		for _, host := range config.List(s.Access.Hosts) {
			if name, _, err := net.SplitHostPort(host); err == nil {
				host = name
			}
			bare = append(bare, strings.Trim(host, "[]"))
		}
		d.own, err = access.OpenOwn(s.State, bare, time.Now())
		d.Certificate, d.Key = d.own.Certificate, d.own.Key
	}
	d.Hosts = strings.Join(append(config.List(s.Access.Hosts), names...), ",")
	return d, err
}

// rules are what the doors open beyond loopback.
func (d doors) rules() access.Rules {
	r := access.Rules{
		Beyond: d.Beyond(), Hosts: config.List(d.Hosts), TLS: d.Certificate != "",
		ScrapeToken: d.ScrapeToken, Fingerprint: d.own.Fingerprint, Authority: d.own.Authority,
	}
	r.Proxies, _ = config.Networks(d.Proxies) // Validate has looked
	r.Scrapers, _ = config.Networks(d.Scrapers)
	return r
}

// machineNames are the names and addresses by which others reach what listens there. The
// address of the network that leads outward comes first: it stands in the links, since
// every phone opens an address and not every phone finds a name.
func machineNames(listen string) (out []string) {
	host, _, _ := net.SplitHostPort(listen)
	if at, err := netip.ParseAddr(host); err == nil && !at.IsUnspecified() {
		out = append(out, at.String())
	} else {
		out = addresses()
	}
	if name, err := os.Hostname(); err == nil && name != "" && name != "localhost" {
		name = strings.ToLower(name)
		out = append(out, name)
		if !strings.Contains(name, ".") {
			out = append(out, name+".local") // RFC 6762, where the machine answers to it
		}
	}
	return out
}

// addresses are those of this machine that others reach, the outward one first.
func addresses() (out []string) {
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
