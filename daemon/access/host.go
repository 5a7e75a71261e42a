package access

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// CheckListen refuses an address that others than this machine can reach. Give
// it the setting, and again what the listener was really bound to.
func CheckListen(addr string) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("access: listen on %q: it needs host:port, such as 127.0.0.1:8077", addr)
	}
	if loopbackName(host) {
		return nil
	}
	what := "is reached from other machines"
	if host == "" {
		what = "names no host, which means every network of this machine"
	}
	return fmt.Errorf("access: listen on %q: it %s, and nothing is open beyond loopback; use 127.0.0.1 and, from elsewhere, a tunnel such as ssh -L", addr, what)
}

func loopbackName(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.Unmap().IsLoopback()
}

// hosts are the names with port that this daemon answers to, in small letters.
type hosts map[string]bool

// hostsOf returns the hosts of a listener: the loopback names and its own
// address, each with its port.
func hostsOf(listen string) (hosts, error) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil || port == "" || port == "0" {
		return nil, errors.New("needs the address that the listener was bound to, host:port")
	}
	h := hosts{}
	for _, name := range []string{"localhost", "127.0.0.1", "::1", host} {
		h[strings.ToLower(net.JoinHostPort(name, port))] = true
	}
	return h, nil
}

// answers reports whether the request's Host is one of h. Without a port it
// means 80 (RFC 9110 4.2.1), or 443 over TLS.
func (h hosts) answers(r *http.Request) bool {
	host := strings.ToLower(r.Host)
	if _, _, err := net.SplitHostPort(host); err != nil {
		port := "80"
		if r.TLS != nil {
			port = "443"
		}
		host = net.JoinHostPort(strings.Trim(host, "[]"), port)
	}
	return h[host]
}

// near reports whether the request comes from this machine and through nobody.
func near(r *http.Request) bool {
	for _, name := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip", "Via"} {
		if len(r.Header.Values(name)) > 0 {
			return false
		}
	}
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	return err == nil && from.Addr().Unmap().IsLoopback()
}

// remote returns the address of the other side, for counting.
func remote(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}
