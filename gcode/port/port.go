package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync/atomic"
	"time"
)

// ErrGone says that the other end went away: unplugged, switched off, closed.
var ErrGone = errors.New("the other end is gone")

// Port is an open way to a printer.
type Port struct {
	name    string
	sort    Sort
	line    line
	close   func() error
	discard func() error // nil: it cannot
	closed  atomic.Bool
}

// line is what an os.File and a net.Conn have in common.
type line interface {
	io.ReadWriter
	SetWriteDeadline(time.Time) error
}

// Kind returns the way to the printer.
func (p *Port) Kind() Sort { return p.sort }

// Name returns the name under which it was opened.
func (p *Port) Name() string { return p.name }

// Read waits for bytes. It returns os.ErrClosed after Close, and ErrGone when
// the other end went away.
func (p *Port) Read(b []byte) (int, error) {
	n, err := p.line.Read(b)
	switch {
	case p.closed.Load():
		return n, p.wrap("read", os.ErrClosed)
	case n > 0 || err == nil:
		return n, nil
	}
	return 0, p.wrap("read", fmt.Errorf("%w: %v", ErrGone, err))
}

// Write writes all of b, or what went out before the deadline.
func (p *Port) Write(b []byte) (int, error) {
	n, err := p.line.Write(b)
	switch {
	case err == nil:
		return n, nil
	case p.closed.Load():
		return n, p.wrap("write", os.ErrClosed)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return n, p.wrap("write", err)
	}
	return n, p.wrap("write", fmt.Errorf("%w: %v", ErrGone, err))
}

// SetWriteDeadline ends writes, also one that waits already, at t (real time).
func (p *Port) SetWriteDeadline(t time.Time) error { return p.line.SetWriteDeadline(t) }

// DiscardOutput throws away what has been written and not yet sent. A network
// line cannot do that; it returns nil.
func (p *Port) DiscardOutput() error {
	if p.discard == nil {
		return nil
	}
	if err := p.discard(); err != nil {
		return p.wrap("discard", err)
	}
	return nil
}

// Close gives the port back. It ends a read and a write that wait, and may be
// called more than once.
func (p *Port) Close() error {
	if p.closed.Swap(true) {
		return nil
	}
	return p.close()
}

func (p *Port) wrap(act string, err error) error {
	return fmt.Errorf("port: %s %s: %w", act, p.name, err)
}
