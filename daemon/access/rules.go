package access

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"abbed/config/outside"
)

// Rules say what the owner opened beyond loopback. The zero Rules open
// nothing.
type Rules struct {
	// Beyond takes a listener that other machines reach.
	Beyond bool
	// Hosts are further names that the daemon answers to, host or host:port.
	Hosts []string
	// TLS says that the listener speaks it.
	TLS bool
	// Proxies are believed when they say for whom they ask, and nothing is open
	// to them; Scrapers may read metrics and health.
	Proxies, Scrapers []netip.Prefix
	// ScrapeToken is the file of a token that reads metrics and health; "":
	// none.
	ScrapeToken string
	// Fingerprint is that of a certificate of our own, Authority the file of the authority
	// that signed it, which anybody may have; "": none.
	Fingerprint, Authority string
}

// leastScrape is the shortest token that a scraper may have.
const leastScrape = 20

// loadScrape reads the scraper's token.
func loadScrape(file string) (*secret, error) {
	b, err := outside.Read(file, mostToken)
	if err != nil && !errors.Is(err, outside.ErrLarge) {
		return nil, err
	}
	text := strings.TrimSpace(string(b))
	if len(text) < leastScrape || strings.ContainsAny(text, " \r\n\t") {
		return nil, fmt.Errorf("%s: needs one word of %d..%d characters", file, leastScrape, mostToken-1)
	}
	s := hash(text)
	return &s, nil
}

// within reports whether ip lies in one of nets.
func within(nets []netip.Prefix, ip netip.Addr) bool {
	return slices.ContainsFunc(nets, func(n netip.Prefix) bool { return n.Contains(ip.Unmap()) })
}

// came is where a request comes from.
type came struct {
	// addr is the address of the other side: behind a proxy that is believed,
	// the one that it names. Invalid for a socket, or for nonsense.
	addr netip.Addr
	// through says that it passed somebody in between.
	through bool
	// secure says that the browser speaks TLS.
	secure bool
}

// forwarding are the headers by which a proxy shows itself.
var forwarding = []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip", "Via"}

// origin finds where a request comes from. X-Forwarded-For is read from its
// end: what stands before the entry of our own proxy was written by whoever
// asked it.
func (a *Access) origin(r *http.Request) came {
	c := came{secure: r.TLS != nil}
	if at, err := netip.ParseAddrPort(r.RemoteAddr); err == nil {
		c.addr = at.Addr().Unmap()
	}
	for _, name := range forwarding {
		c.through = c.through || len(r.Header.Values(name)) > 0
	}
	if !c.addr.IsValid() || !within(a.rules.Proxies, c.addr) {
		return c
	}
	c.through = true
	c.secure = c.secure || strings.EqualFold(r.Header.Get("X-Forwarded-Proto"), "https")
	said := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for _, s := range slices.Backward(said) {
		ip, err := netip.ParseAddr(strings.TrimSpace(s))
		if err != nil {
			return c
		}
		c.addr = ip.Unmap()
		if !within(a.rules.Proxies, c.addr) {
			return c
		}
	}
	return c
}

// remote names the other side, for counting. An IPv6 network of 64 bits counts
// as one: whoever has one address of it has them all (RFC 4291 2.5.4).
func (a *Access) remote(r *http.Request) string {
	c := a.origin(r)
	if !c.addr.IsValid() {
		return "socket"
	}
	if c.addr.Is6() {
		if net, err := c.addr.WithZone("").Prefix(64); err == nil {
			return net.String()
		}
	}
	return c.addr.String()
}

// near reports whether the request comes from this machine, through nobody,
// and by a name of the loopback.
func (a *Access) near(r *http.Request) bool {
	c := a.origin(r)
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = strings.Trim(r.Host, "[]")
	}
	return c.addr.IsValid() && c.addr.IsLoopback() && !c.through && outside.Loopback(host)
}

// scraper reports whether the request comes from where metrics may be read.
func (a *Access) scraper(r *http.Request) bool {
	c := a.origin(r)
	return c.addr.IsValid() && !c.through && within(a.rules.Scrapers, c.addr)
}

var errListen = errors.New("needs host:port, such as 127.0.0.1:8077")
