package page

import (
	"bytes"
	"maps"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"abbed/daemon/api"
)

// mostShared bounds the screens that are kept, and sharedLife how long: a
// second is nothing to a viewer, and enough for a crowd.
const (
	mostShared = 16
	sharedLife = time.Second
)

// shared keeps the screens that were drawn since the desk last changed, so that
// many viewers cost one drawing. Screens show the same to everybody.
type shared struct {
	desk api.Desk
	// asked counts the changes that were asked for.
	asked atomic.Int64

	mu    sync.Mutex
	since <-chan struct{}
	drawn map[string]*drawing
}

// drawing is one screen as it was drawn; it is a http.ResponseWriter.
type drawing struct {
	header http.Header
	status int
	body   bytes.Buffer
	at     time.Time
	asked  int64
}

func (d *drawing) Header() http.Header         { return d.header }
func (d *drawing) WriteHeader(status int)      { d.status = status }
func (d *drawing) Write(b []byte) (int, error) { return d.body.Write(b) }

// screen answers with what draw draws, or drew for somebody else just now.
func (s *shared) screen(draw http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if r.URL.RawQuery != "" {
			draw(w, r)
			return
		}
		d := s.get(r, draw)
		maps.Copy(w.Header(), d.header)
		w.WriteHeader(d.status)
		_, _ = w.Write(d.body.Bytes())
	}
}

// get returns the drawing of a path; the lock is held while it is drawn, so
// that it is drawn once, and one at a time.
func (s *shared) get(r *http.Request, draw http.HandlerFunc) *drawing {
	s.mu.Lock()
	defer s.mu.Unlock()
	if now := s.desk.Changed(); now != s.since || len(s.drawn) >= mostShared {
		s.since, s.drawn = now, map[string]*drawing{}
	}
	d, asked := s.drawn[r.URL.Path], s.asked.Load()
	if d == nil || d.asked != asked || time.Since(d.at) > sharedLife {
		d = &drawing{header: http.Header{}, status: http.StatusOK, at: time.Now(), asked: asked}
		draw(d, r)
		if d.status == http.StatusOK {
			s.drawn[r.URL.Path] = d
		}
	}
	return d
}

// forget drops what was drawn: somebody has asked for a change, and should see
// it. It does not wait for a screen that is being drawn, since a stop request comes
// by here.
func (s *shared) forget() { s.asked.Add(1) }
