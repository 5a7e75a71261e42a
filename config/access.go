package config

import (
	"net"
	"net/netip"
	"strconv"

	"abbed/config/outside"
)

// access checks what hangs together in access: a proxy needs names, its address, and a
// certificate (or the word that none is wanted) if it is on another machine.
func (c *check) access(s Settings) {
	a := s.Access
	for _, h := range List(a.Hosts) {
		if !hostName(h) {
			c.fault("access.hosts", a.Hosts, quote(h)+" is no name or address; give one such as printer.example, 192.0.2.4:8077 or [2001:db8::4]:8077")
		}
	}
	for _, n := range []struct{ key, text string }{{"access.proxies", a.Proxies}, {"access.scrapers", a.Scrapers}} {
		if _, bad := Networks(n.text); bad != "" {
			c.fault(n.key, n.text, quote(bad)+" is no address or network; needs such as 192.0.2.7 or 192.0.2.0/24")
		}
	}
	if (a.Certificate == "") != (a.Key == "") {
		c.fault("access.certificate", a.Certificate, "access.certificate and access.key belong together: give both, or neither")
	}
	if a.From != FromProxy {
		return
	}
	if len(List(a.Hosts)) == 0 {
		c.fault("access.hosts", a.Hosts, "access.from: proxy needs the names under which browsers ask for the page: without them another site could pretend to be this one")
	}
	if len(List(a.Proxies)) == 0 {
		c.fault("access.proxies", a.Proxies, "access.from: proxy needs the address of the proxy")
	}
	if host, _, err := net.SplitHostPort(s.Listen); err == nil && !outside.Loopback(host) && a.Certificate == "" && !a.Plain {
		c.fault("listen", s.Listen, "needs 127.0.0.1 for a proxy on this machine; else access.certificate, or access.plain: true if everybody on that network may read along")
	}
}

// hostName reports whether text is a name or an address, with or without a
// port.
func hostName(text string) bool {
	host, port, err := net.SplitHostPort(text)
	if err != nil {
		host, port = text, "1"
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil || n == 0 {
		return false
	}
	if _, err := netip.ParseAddr(host); err == nil {
		return true
	}
	return ofHostShape(host)
}

// Networks reads addresses and networks (RFC 4632) with commas between them;
// bad is the first that is none, or "".
func Networks(text string) (nets []netip.Prefix, bad string) {
	for _, part := range List(text) {
		if ip, err := netip.ParseAddr(part); err == nil && ip.Zone() == "" {
			nets = append(nets, netip.PrefixFrom(ip.Unmap(), ip.Unmap().BitLen()))
			continue
		}
		n, err := netip.ParsePrefix(part)
		if err != nil {
			return nil, part
		}
		nets = append(nets, n.Masked())
	}
	return nets, ""
}
