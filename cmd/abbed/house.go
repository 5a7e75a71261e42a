package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"runtime"
	"sync"
	"time"

	"abbed/config"
	"abbed/daemon"
	"abbed/daemon/access"
	"abbed/daemon/metrics"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/daemon/web"
	"abbed/daemon/web/page"
	"abbed/gcode/clock"
)

// house is a daemon with its store, its doors and its page.
type house struct {
	daemon *daemon.Daemon
	access *access.Access
	store  *store.Store
	listen net.Listener
	server *http.Server
	log    *slog.Logger
}

// plan is what a house is built from.
type plan struct {
	settings config.Settings
	clock    *clock.Clock
	log      *slog.Logger
	// open and listener replace the port and the address of the settings.
	open     func(context.Context) (io.ReadWriteCloser, error)
	listener net.Listener
	trace    func(dir, line string)
}

// build opens the store, reads what an earlier daemon left, and binds the
// address; nothing is served and no port is opened before run.
func build(ctx context.Context, p plan) (*house, error) {
	if err := access.CheckListen(p.settings.Listen); err != nil {
		return nil, usage(err)
	}
	h := &house{log: p.log}
	if err := h.keep(ctx, p); err != nil {
		return nil, err
	}
	if err := h.front(ctx, p); err != nil {
		return nil, errors.Join(err, h.store.Close())
	}
	return h, nil
}

// keep opens what is kept in the state directory.
func (h *house) keep(ctx context.Context, p plan) error {
	var notice store.Notice
	var notices []string
	var err error
	if h.store, notice, err = store.Open(ctx, p.settings.State); err != nil {
		return err
	}
	if notice.Text != "" {
		p.log.Warn(notice.Text, "hint", notice.Hint, "moved", notice.Moved)
	}
	if h.access, notices, err = access.Open(access.Options{Dir: p.settings.State, Enter: page.Enter}); err != nil {
		return errors.Join(err, h.store.Close())
	}
	for _, n := range notices {
		p.log.Warn(n)
	}
	return nil
}

// front makes the daemon and the server, and binds the address.
func (h *house) front(ctx context.Context, p plan) error {
	var err error
	h.daemon, err = daemon.New(ctx, daemon.Options{
		Settings: p.settings, Store: h.store, Clock: p.clock, Open: p.open, Log: p.log, Trace: p.trace,
		Signer: access.NewSigner("apply", nil),
		Build:  status.Build{Version: version, Go: runtime.Version()},
	})
	if err != nil {
		return err
	}
	h.listen = p.listener
	if h.listen == nil {
		if h.listen, err = net.Listen("tcp", p.settings.Listen); err != nil {
			return fmt.Errorf("listen on %s: %w; is abbed running already? Choose another address with --listen", p.settings.Listen, err)
		}
	}
	site := web.New(h.daemon, web.Options{
		Metrics: metrics.New(h.daemon.Board()), Version: version, Who: access.Who, Log: p.log,
	})
	guarded, err := h.access.Guard(h.listen.Addr().String(), site)
	if err != nil {
		return errors.Join(usage(err), h.listen.Close())
	}
	h.server = &http.Server{
		Handler: guarded, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(p.log.Handler(), slog.LevelWarn),
	}
	return nil
}

// url is where the page is.
func (h *house) url() string { return "http://" + h.listen.Addr().String() }

// run serves until the context ends, then ends what is going on: the run is
// ended and put back first, while the page still answers.
func (h *house) run(ctx context.Context) error {
	streams, cut := context.WithCancel(context.WithoutCancel(ctx))
	h.server.BaseContext = func(net.Listener) context.Context { return streams }
	var own sync.WaitGroup
	served := make(chan error, 1)
	own.Go(func() { served <- h.server.Serve(h.listen) })
	daemonCtx, end := context.WithCancel(ctx)
	defer end()
	own.Go(func() { h.daemon.Work(daemonCtx) })
	var err error
	select {
	case err = <-served:
	case <-ctx.Done():
	}
	end()
	cut()
	late, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if e := h.server.Shutdown(late); e != nil {
		_ = h.server.Close()
	}
	own.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return errors.Join(err, h.store.Close())
}

// logger writes words for people on w.
func logger(w io.Writer, level string) *slog.Logger {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		l = slog.LevelInfo
	}
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: l}))
}
