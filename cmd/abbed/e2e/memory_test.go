package e2e_test

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"sync"
	"testing"
	"time"

	"abbed/gcode/bench"
)

// memoryListener is a listener without a network, so that a whole job fits into
// a bubble of accelerated time.
type memoryListener struct {
	conns chan net.Conn
	done  chan struct{}
	once  sync.Once
}

func newMemoryListener() *memoryListener {
	return &memoryListener{conns: make(chan net.Conn), done: make(chan struct{})}
}

func (l *memoryListener) Accept() (net.Conn, error) {
	select {
	case c := <-l.conns:
		return c, nil
	case <-l.done:
		return nil, net.ErrClosed
	}
}

func (l *memoryListener) Close() error {
	l.once.Do(func() { close(l.done) })
	return nil
}

func (l *memoryListener) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8077} }

// transport reaches the listener.
func (l *memoryListener) transport() *http.Transport {
	return &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		near, far := net.Pipe()
		select {
		case l.conns <- loopback{far}:
			return near, nil
		case <-l.done:
			return nil, net.ErrClosed
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}}
}

// loopback gives a pipe an address of the loopback, which the access rules
// look at.
type loopback struct{ net.Conn }

func (loopback) RemoteAddr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 40000} }

// cable connects the daemon with a virtual printer; it can be pulled.
type cable struct {
	printer *bench.Printer
	serving sync.WaitGroup
	trace   func(dir, line string) // is told each line of the dialogue; or nil
	mu      sync.Mutex
	near    net.Conn
	pulled  bool
	deny    error // what opening it answers; nil: it opens
}

var errPulled = errors.New("no such device")

func (c *cable) open(ctx context.Context) (io.ReadWriteCloser, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.pulled {
		return nil, errPulled
	}
	if c.deny != nil {
		return nil, c.deny
	}
	near, far := net.Pipe()
	c.near = near
	c.serving.Go(func() {
		_ = c.printer.Serve(context.WithoutCancel(ctx), far)
		_ = far.Close()
	})
	return near, nil
}

func (c *cable) pull(out bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.pulled = out
	if out && c.near != nil {
		_ = c.near.Close()
	}
}

// memoryDir is a state directory in memory where the system has one: that what is
// stored survives a power cut is the store's own test; here it only costs time.
func memoryDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "abbed-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// wait lets some of the bubble's time pass, so that what goes on by itself goes
// on; it costs no time.
func wait(t *testing.T) {
	t.Helper()
	tick := time.NewTimer(100 * time.Millisecond)
	defer tick.Stop()
	select {
	case <-tick.C:
	case <-t.Context().Done():
		t.Fatal("waited in vain")
	}
}
