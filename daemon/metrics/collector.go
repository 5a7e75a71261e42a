package metrics

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"abbed/daemon/status"
)

// New returns the handler of /metrics for what board shows.
func New(board *status.Board) http.Handler {
	return promhttp.HandlerFor(Registry(board), promhttp.HandlerOpts{})
}

// Registry returns a registry that holds what board shows, and nothing else.
func Registry(board *status.Board) *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(collector{board})
	return r
}

// collector turns one snapshot into samples at each scrape.
type collector struct{ board *status.Board }

// Describe sends nothing: which samples there are depends on what is known.
func (collector) Describe(chan<- *prometheus.Desc) {}

// Collect sends the samples of the latest snapshot.
func (c collector) Collect(ch chan<- prometheus.Metric) {
	s := c.board.Latest()
	if s.At.IsZero() {
		return // nothing was published yet
	}
	to := sink{ch}
	program(to, s)
	printer(to, s)
	counters(to, s)
	kept(to, s.Kept)
	runs(to, s)
	stability(to, s)
	gauged(to, s)
	findings(to, s.Analysis)
	applied(to, s)
}
