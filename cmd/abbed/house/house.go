package house

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

	"abbed/cmd/abbed/console"
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

// House is a daemon with its store, its doors and its page.
type House struct {
	Daemon *daemon.Daemon
	Access *access.Access
	Store  *store.Store
	Listen net.Listener
	button net.Listener // the socket; nil: none
	Doors  doors
	Phone  *config.Settings // nil: the page is not open to phones
	Server *http.Server
	log    *slog.Logger
	notice string // how the store was opened
	chair  room.Chair
	// manager is told when the house serves and when it ends.
	manager process.Manager
}

// Plan is what a house is built from.
type Plan struct {
	Settings config.Settings
	Clock    *clock.Clock
	Log      *slog.Logger
	// Open and listener replace the port and the address of the settings.
	Open     func(context.Context) (io.ReadWriteCloser, error)
	Listener net.Listener
	Trace    func(dir, line string)
	Manager  process.Manager
}

// Build opens the store, reads what an earlier daemon left, and binds the
// address; nothing is served and no port is opened before run.
func Build(ctx context.Context, p Plan) (*House, error) {
	opened, err := openDoors(p.Settings, nil)
	if err != nil {
		return nil, err
	}
	if err := access.CheckListen(p.Settings.Listen, opened.rules()); err != nil {
		return nil, console.Usage(err)
	}
	h := &House{log: p.Log, Doors: opened, manager: p.Manager}
	if p.Settings.Access.From == config.FromPhone {
		h.Phone = &p.Settings
	}
	if err := h.keep(ctx, p); err != nil {
		return nil, err
	}
	if err := h.front(ctx, p); err != nil {
		return nil, errors.Join(err, h.Store.Close())
	}
	return h, nil
}

// keep opens what is kept in the state directory.
func (h *House) keep(ctx context.Context, p Plan) error {
	var notice store.Notice
	var notices []string
	var err error
	if h.Store, notice, err = store.Open(ctx, p.Settings.State); err != nil {
		return err
	}
	if notice.Text != "" {
		p.Log.Warn(notice.Text, "hint", notice.Hint, "moved", notice.Moved)
		h.notice = notice.Text + " " + notice.Hint
	}
	if h.Access, notices, err = access.Open(access.Options{Dir: p.Settings.State, Rules: h.Doors.rules(), Enter: page.Enter, Refuse: page.Shut}); err != nil {
		return errors.Join(err, h.Store.Close())
	}
	for _, n := range notices {
		p.Log.Warn(n)
	}
	return nil
}

// front makes the daemon and the server, and binds the address.
func (h *House) front(ctx context.Context, p Plan) error {
	var err error
	h.Daemon, err = daemon.New(ctx, daemon.Options{
		Settings: p.Settings, Store: h.Store, Clock: p.Clock, Open: p.Open, Log: p.Log, Trace: p.Trace,
		Signer: access.NewSigner("apply", nil), Notice: h.notice,
		Build: status.Build{Version: console.Version, Go: runtime.Version()},
	})
	if err != nil {
		return err
	}
	secure, err := h.certify()
	if err != nil {
		return err
	}
	h.Listen = p.Listener
	if h.Listen == nil {
		l, err := net.Listen("tcp", p.Settings.Listen)
		if err != nil {
			return fmt.Errorf("listen on %s: %w; is abbed running already? Choose another address with --listen", p.Settings.Listen, err)
		}
		h.Listen = access.NewDoor(l, h.Doors.rules())
	}
	if p.Settings.Socket != "" {
		l, err := access.ListenSocket(p.Settings.Socket, p.Settings.SocketGroup)
		if err != nil {
			return errors.Join(err, h.Listen.Close())
		}
		h.button = access.NewDoor(l, h.Doors.rules())
	}
	site := web.New(h.Daemon, web.Options{
		Metrics: metrics.New(h.Daemon.Board()), Options: page.Options{Version: console.Version, Who: access.Who, Doors: h.Access, Log: p.Log},
	})
	h.chair = room.Chair{Dir: p.Settings.Room, Key: p.Settings.State}
	guarded, err := h.Access.Guard(h.Listen.Addr().String(), site)
	if err != nil {
		return errors.Join(console.Usage(err), h.close())
	}
	h.chair.URL = h.Access.Base() + "/"
	h.Server = &http.Server{
		ConnContext: access.Mark, TLSConfig: secure,
		Handler: guarded, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		// What is answered for longer (streams, moves) sets its own.
		WriteTimeout: time.Minute,
		IdleTimeout:  2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(p.Log.Handler(), slog.LevelWarn), Protocols: oneByOne(),
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
func (h *House) certify() (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if h.Doors.Certificate == "" {
		return c, nil
	}
	cert, err := access.OpenCertificate(h.Doors.Certificate, h.Doors.Key, nil, h.log)
	if err != nil {
		return nil, console.Usage(err)
	}
	c.GetCertificate = cert.Get
	return c, nil
}

// close closes the addresses that were bound.
func (h *House) close() error {
	err := h.Listen.Close()
	if h.button != nil {
		err = errors.Join(err, h.button.Close())
	}
	return err
}

// serve serves one address, with TLS where the owner has a certificate; the
// socket never needs one.
func (h *House) serve(l net.Listener) error {
	if l == h.button || h.Doors.Certificate == "" {
		return h.Server.Serve(l)
	}
	return h.Server.ServeTLS(l, "", "")
}

// URL is where the page is on this machine.
func (h *House) URL() string {
	if h.Doors.Certificate != "" {
		return "https://" + h.Listen.Addr().String()
	}
	return "http://" + h.Listen.Addr().String()
}

// Run serves until the context ends, then ends what is going on: the run is
// ended and put back first, while the page still answers.
func (h *House) Run(ctx context.Context) error {
	streams, cut := context.WithCancel(context.WithoutCancel(ctx))
	h.Server.BaseContext = func(net.Listener) context.Context { return streams }
	var own sync.WaitGroup
	served := make(chan error, 2)
	own.Go(func() { served <- h.serve(h.Listen) })
	if h.button != nil {
		own.Go(func() { served <- h.serve(h.button) })
	}
	daemonCtx, end := context.WithCancel(ctx)
	defer end()
	worked := make(chan struct{})
	own.Go(func() { h.Daemon.Work(daemonCtx); close(worked) })
	if h.chair.Dir != "" {
		own.Go(func() {
			h.chair.Keep(daemonCtx, h.Daemon.Board(), func(err error) {
				h.log.Warn("the other daemons of this machine do not learn of this one; it is being tried again", "err", err)
			})
		})
	}
	if h.Phone != nil {
		own.Go(func() { h.follow(streams, *h.Phone) })
	}
	own.Go(func() { h.manager.Watch(streams, func() { h.Daemon.Printer() }) })
	h.manager.Ready("serving " + h.URL())
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
	if e := h.Server.Shutdown(late); e != nil {
		_ = h.Server.Close()
	}
	own.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return errors.Join(err, h.Store.Close())
}
