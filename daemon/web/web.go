package web

import (
	"log/slog"
	"net/http"
	"sync/atomic"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/web/page"
)

// MaxBody is the largest body that is read, bytes.
const MaxBody = 64 << 10

// Options are what the handler needs beside the desk. The zero value works.
type Options struct {
	// Metrics serves /metrics; nil: the path is not there.
	Metrics http.Handler
	// Version of the program, for the page and the description.
	Version string
	// Who names the person or program behind a request, for the log of
	// changes; nil, or "" from it: "page" or "api".
	Who func(*http.Request) string
	// Doors let browsers in, for the page; nil: it does not show them.
	Doors page.Doors
	// Log takes what went wrong inside; nil: slog.Default.
	Log *slog.Logger
	// Heartbeat is the time between two signs of life on an event stream;
	// 0: 15 s. Shorter finds a dead line sooner and costs a packet each.
	Heartbeat time.Duration
	// Patience is how long one write may take before the reader is given up;
	// 0: 20 s.
	Patience time.Duration
}

// site is the handler in the making.
type site struct {
	desk   api.Desk
	opts   Options
	mux    *http.ServeMux
	states states
	// viewers are the event streams that are open.
	viewers atomic.Int64
}

// New returns the handler of everything that the daemon serves: /api, /metrics,
// /healthz and the page.
func New(desk api.Desk, opts Options) http.Handler {
	if opts.Log == nil {
		opts.Log = slog.Default()
	}
	if opts.Heartbeat == 0 {
		opts.Heartbeat = 15 * time.Second
	}
	if opts.Patience == 0 {
		opts.Patience = 20 * time.Second
	}
	s := &site{desk: desk, opts: opts, mux: http.NewServeMux()}
	s.mount(s.routes())
	s.mux.HandleFunc("/healthz", health)
	if opts.Metrics != nil {
		s.mux.Handle("/metrics", opts.Metrics)
	}
	forget := page.Mount(s.mux, desk, page.Options{Version: opts.Version, Who: opts.Who, Doors: opts.Doors, Log: opts.Log})
	return small(s.guarded(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			forget()
			defer forget() // before the answer is on its way: it is shorter than the server's buffer
		}
		s.mux.ServeHTTP(w, r)
	})))
}

// health answers that the program lives; it asks nobody.
func health(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write([]byte("ok\n"))
}

// who names whoever is behind r.
func (s *site) who(r *http.Request, otherwise string) string {
	if s.opts.Who != nil {
		if name := s.opts.Who(r); name != "" {
			return name
		}
	}
	return otherwise
}
