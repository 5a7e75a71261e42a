package access

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"

	"abbed/config/outside"
)

// CheckListen refuses an address that others than this machine can reach,
// unless the owner opened it. Give it the setting, and again what the listener
// was really bound to.
func CheckListen(addr string, rules Rules) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("access: listen on %q: it %w", addr, errListen)
	}
	if outside.Loopback(host) || rules.Beyond && len(rules.Hosts) > 0 {
		return nil
	}
	what := "is reached from other machines"
	if host == "" {
		what = "names no host, which means every network of this machine"
	}
	return fmt.Errorf("access: listen on %q: it %s, and nothing is open beyond loopback; set access.from: phone, or use 127.0.0.1 and, from elsewhere, a tunnel such as ssh -L", addr, what)
}

// hosts are the names with port that this daemon answers to, in small letters.
type hosts map[string]bool

// hostsOf returns the hosts of a listener: the loopback names, its own address
// and the further names, each with its port. Behind a proxy a further name
// without a port may also come with the usual one.
func hostsOf(listen string, rules Rules) (hosts, error) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil || port == "" || port == "0" {
		return nil, errors.New("needs the address that the listener was bound to, host:port")
	}
	h := hosts{}
	for _, name := range []string{"localhost", "127.0.0.1", "::1", host} {
		h[strings.ToLower(net.JoinHostPort(name, port))] = true
	}
	for _, name := range rules.Hosts {
		name = strings.ToLower(name)
		if _, _, err := net.SplitHostPort(name); err == nil {
			h[name] = true
			continue
		}
		name = strings.Trim(name, "[]")
		h[net.JoinHostPort(name, port)] = true
		if len(rules.Proxies) > 0 {
			h[net.JoinHostPort(name, "443")], h[net.JoinHostPort(name, "80")] = true, true
		}
	}
	return h, nil
}

// answers reports whether the request's Host is one of h. Without a port it
// means 80 (RFC 9110 4.2.1), or 443 over TLS.
func (h hosts) answers(r *http.Request, secure bool) bool {
	host := strings.ToLower(r.Host)
	if _, _, err := net.SplitHostPort(host); err != nil {
		port := "80"
		if secure {
			port = "443"
		}
		host = net.JoinHostPort(strings.Trim(host, "[]"), port)
	}
	return h[host]
}
