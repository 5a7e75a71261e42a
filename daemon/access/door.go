package access

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"net/netip"
	"slices"
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

	// mostUnsent is what the system keeps for a client that does not read, bytes. By
	// itself it may be 4 MB for each (Linux, tcp(7), tcp_wmem).
	mostUnsent = 64 << 10
)

// Door is a listener that takes so many connections and no more. Whoever comes when
// it is full takes the place of the connection that has waited longest without a
// whole request: sending half of one, or nothing after an answer, keeps no place.
// Only if there is none such is the newcomer closed at once; Crowd sees to it that
// there is. Some places stay free for this machine, so that a stop gets in while
// others hold all the rest.
type Door struct {
	net.Listener
	proxies []netip.Prefix

	mu   sync.Mutex
	all  []*place // in the order in which they began to wait
	from map[netip.Addr]int
}

// place is a connection that is counted until it is closed.
type place struct {
	net.Conn
	door *Door
	addr netip.Addr
	busy bool // a whole request came, and is being answered
}

// NewDoor puts a door before l. A proxy's address counts like this machine's:
// everybody comes through it. All who come by a socket count as one address.
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
		p := &place{Conn: c, door: d, addr: addrOf(c)}
		in, out := d.enter(p)
		if out != nil {
			_ = out.Conn.Close()
		}
		if in {
			if t, ok := c.(interface{ SetWriteBuffer(int) error }); ok {
				_ = t.SetWriteBuffer(mostUnsent)
			}
			return p, nil
		}
		_ = c.Close()
	}
}

func addrOf(c net.Conn) netip.Addr {
	at, _ := netip.ParseAddrPort(c.RemoteAddr().String())
	return at.Addr().Unmap()
}

// enter gives p a place, if need be that of out, which is then to be closed.
func (d *Door) enter(p *place) (in bool, out *place) {
	d.mu.Lock()
	defer d.mu.Unlock()
	local := p.addr.IsLoopback()
	may := func(x *place) bool { return local || !x.addr.IsLoopback() }
	full := len(d.all) >= mostConns
	if !local {
		full = len(d.all) >= mostConns-keptForLocal
		if d.from[p.addr] >= mostFromOne && !within(d.proxies, p.addr) {
			full, may = true, func(x *place) bool { return x.addr == p.addr }
		}
	}
	if full {
		i := slices.IndexFunc(d.all, func(x *place) bool { return !x.busy && may(x) })
		if i < 0 {
			return false, nil
		}
		out = d.all[i]
		d.drop(out)
	}
	d.all = append(d.all, p)
	d.from[p.addr]++
	return true, out
}

// drop takes p's place away, once; d.mu is held.
func (d *Door) drop(p *place) {
	i := slices.Index(d.all, p)
	if i < 0 {
		return
	}
	d.all = slices.Delete(d.all, i, i+1)
	if d.from[p.addr]--; d.from[p.addr] == 0 {
		delete(d.from, p.addr)
	}
}

func (p *place) Close() error {
	p.door.mu.Lock()
	p.door.drop(p)
	p.door.mu.Unlock()
	return p.Conn.Close()
}

// answering marks the place as busy until the request was answered; it then waits
// behind all others.
func (p *place) answering(busy bool) {
	d := p.door
	d.mu.Lock()
	defer d.mu.Unlock()
	p.busy = busy
	if i := slices.Index(d.all, p); i >= 0 && !busy {
		d.all = append(slices.Delete(d.all, i, i+1), p)
	}
}

type placeKey struct{}

// Mark notes in the context of a connection its place at the door, and, if it came
// by the socket, by whom. It is a http.Server's ConnContext.
func Mark(ctx context.Context, c net.Conn) context.Context {
	if t, ok := c.(*tls.Conn); ok {
		c = t.NetConn()
	}
	if p, ok := c.(*place); ok {
		ctx, c = context.WithValue(ctx, placeKey{}, p), p.Conn
	}
	return bySocket(ctx, c)
}

// seated marks the places of the requests that next answers.
func seated(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p, ok := r.Context().Value(placeKey{}).(*place); ok {
			p.answering(true)
			defer p.answering(false)
		}
		next.ServeHTTP(w, r)
	})
}
