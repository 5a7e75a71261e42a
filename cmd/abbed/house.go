package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"runtime"
	"sync"
	"time"

	"abbed/cmd/abbed/process"
	"abbed/config"
	"abbed/daemon"
	"abbed/daemon/access"
	"abbed/daemon/metrics"
	"abbed/daemon/room"
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
	button net.Listener // the socket; nil: none
	doors  doors
	phone  *config.Settings // nil: the page is not open to phones
	server *http.Server
	log    *slog.Logger
	notice string // how the store was opened
	chair  room.Chair
	// manager is told when the house serves and when it ends.
	manager process.Manager
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
	manager  process.Manager
}

// build opens the store, reads what an earlier daemon left, and binds the
// address; nothing is served and no port is opened before run.
func build(ctx context.Context, p plan) (*house, error) {
	opened, err := openDoors(p.settings, nil)
	if err != nil {
		return nil, err
	}
	if err := access.CheckListen(p.settings.Listen, opened.rules()); err != nil {
		return nil, usage(err)
	}
	h := &house{log: p.log, doors: opened, manager: p.manager}
	if p.settings.Access.From == config.FromPhone {
		h.phone = &p.settings
	}
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
		h.notice = notice.Text + " " + notice.Hint
	}
	if h.access, notices, err = access.Open(access.Options{Dir: p.settings.State, Rules: h.doors.rules(), Enter: page.Enter, Refuse: page.Shut}); err != nil {
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
		Signer: access.NewSigner("apply", nil), Notice: h.notice,
		Build: status.Build{Version: version, Go: runtime.Version()},
	})
	if err != nil {
		return err
	}
	secure, err := h.certify()
	if err != nil {
		return err
	}
	h.listen = p.listener
	if h.listen == nil {
		l, err := net.Listen("tcp", p.settings.Listen)
		if err != nil {
			return fmt.Errorf("listen on %s: %w; is abbed running already? Choose another address with --listen", p.settings.Listen, err)
		}
		h.listen = access.NewDoor(l, h.doors.rules())
	}
	if p.settings.Socket != "" {
		l, err := access.ListenSocket(p.settings.Socket, p.settings.SocketGroup)
		if err != nil {
			return errors.Join(err, h.listen.Close())
		}
		h.button = access.NewDoor(l, h.doors.rules())
	}
	site := web.New(h.daemon, web.Options{
		Metrics: metrics.New(h.daemon.Board()), Options: page.Options{Version: version, Who: access.Who, Doors: h.access, Log: p.log},
	})
	h.chair = room.Chair{Dir: p.settings.Room, Key: p.settings.State}
	guarded, err := h.access.Guard(h.listen.Addr().String(), site)
	if err != nil {
		return errors.Join(usage(err), h.close())
	}
	h.chair.URL = h.access.Base() + "/"
	h.server = &http.Server{
		ConnContext: access.Mark, TLSConfig: secure,
		Handler: guarded, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		// What is answered for longer (streams, moves) sets its own.
		WriteTimeout: time.Minute,
		IdleTimeout:  2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(p.log.Handler(), slog.LevelWarn), Protocols: oneByOne(),
	}
	return nil
}

// oneByOne is what the server speaks: HTTP/1.1, also with a certificate. HTTP/2 would
// carry some 250 requests at once over one connection (the default of net/http), and the
// door counts connections.
func oneByOne() *http.Protocols {
	p := new(http.Protocols)
	p.SetHTTP1(true)
	return p
}

// certify reads certificate and key before anything is bound, so that a wrong
// file is told at the start; nil where the owner has none. Later files are taken
// without a restart.
func (h *house) certify() (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if h.doors.Certificate == "" {
		return c, nil
	}
	cert, err := access.OpenCertificate(h.doors.Certificate, h.doors.Key, nil, h.log)
	if err != nil {
		return nil, usage(err)
	}
	c.GetCertificate = cert.Get
	return c, nil
}

// close closes the addresses that were bound.
func (h *house) close() error {
	err := h.listen.Close()
	if h.button != nil {
		err = errors.Join(err, h.button.Close())
	}
	return err
}

// serve serves one address, with TLS where the owner has a certificate; the
// socket never needs one.
func (h *house) serve(l net.Listener) error {
	if l == h.button || h.doors.Certificate == "" {
		return h.server.Serve(l)
	}
	return h.server.ServeTLS(l, "", "")
}

// url is where the page is on this machine.
func (h *house) url() string {
	if h.doors.Certificate != "" {
		return "https://" + h.listen.Addr().String()
	}
	return "http://" + h.listen.Addr().String()
}

// run serves until the context ends, then ends what is going on: the run is
// ended and put back first, while the page still answers.
func (h *house) run(ctx context.Context) error {
	streams, cut := context.WithCancel(context.WithoutCancel(ctx))
	h.server.BaseContext = func(net.Listener) context.Context { return streams }
	var own sync.WaitGroup
	served := make(chan error, 2)
	own.Go(func() { served <- h.serve(h.listen) })
	if h.button != nil {
		own.Go(func() { served <- h.serve(h.button) })
	}
	daemonCtx, end := context.WithCancel(ctx)
	defer end()
	worked := make(chan struct{})
	own.Go(func() { h.daemon.Work(daemonCtx); close(worked) })
	if h.chair.Dir != "" {
		own.Go(func() {
			h.chair.Keep(daemonCtx, h.daemon.Board(), func(err error) {
				h.log.Warn("the other daemons of this machine do not learn of this one; it is being tried again", "err", err)
			})
		})
	}
	if h.phone != nil {
		own.Go(func() { h.follow(streams, *h.phone) })
	}
	own.Go(func() { h.manager.Watch(streams, func() { h.daemon.Printer() }) })
	h.manager.Ready("serving " + h.url())
	var err error
	select {
	case err = <-served:
	case <-ctx.Done():
	}
	h.manager.Stopping()
	end()
	<-worked // what goes on is ended first, and can be stopped until then
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
