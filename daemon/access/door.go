package access

import (
	"net"
	"net/netip"
	"sync"
)

// How many connections are taken at once: in all, and from one address beyond
// this machine. The service may have 1024 descriptors (a serial port above that
// cannot be read); a browser opens six to one host. Common practice, no source. The
// server behind speaks HTTP/1.1 only, so that a request under way is a connection.
const (
	mostConns    = 640
	mostFromOne  = 48
	keptForLocal = 64 // of mostConns, for loopback
)

// Door is a listener that takes so many connections and no more; what is too
// much is closed at once. Some stay free for this machine, so that a stop gets
// in while others hold all the rest.
type Door struct {
	net.Listener
	proxies []netip.Prefix

	mu   sync.Mutex
	all  int
	from map[netip.Addr]int
}

// NewDoor puts a door before l. A proxy's address counts like this machine's:
// everybody comes through it.
func NewDoor(l net.Listener, rules Rules) *Door {
	return &Door{Listener: l, proxies: rules.Proxies, from: map[netip.Addr]int{}}
}

// Accept returns the next connection that is not too much.
func (d *Door) Accept() (net.Conn, error) {
	for {
		c, err := d.Listener.Accept()
		if err != nil {
			return nil, err
		}
		addr := addrOf(c)
		if d.enter(addr) {
			return &counted{Conn: c, leave: sync.OnceFunc(func() { d.leave(addr) })}, nil
		}
		_ = c.Close()
	}
}

func addrOf(c net.Conn) netip.Addr {
	at, _ := netip.ParseAddrPort(c.RemoteAddr().String())
	return at.Addr().Unmap()
}

func (d *Door) enter(addr netip.Addr) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	most, one := mostConns, mostConns
	if !addr.IsLoopback() {
		most -= keptForLocal
		if !within(d.proxies, addr) {
			one = mostFromOne
		}
	}
	if d.all >= most || d.from[addr] >= one {
		return false
	}
	d.all++
	d.from[addr]++
	return true
}

func (d *Door) leave(addr netip.Addr) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.all--
	if d.from[addr]--; d.from[addr] == 0 {
		delete(d.from, addr)
	}
}

// counted is a connection that is counted until it is closed.
type counted struct {
	net.Conn
	leave func()
}

func (c *counted) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
