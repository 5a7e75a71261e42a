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
	page.Options
	// Metrics serves /metrics; nil: the path is not there.
	Metrics http.Handler
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
	forget := page.Mount(s.mux, desk, opts.Options)
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
