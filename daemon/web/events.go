package web

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strconv"
	"time"
)

// events serves a run as server-sent events (HTML Living Standard 9.2): each
// event is the JSON of GET runs/{id}, its id the number of the run's last
// event. Since an event holds the whole state, resuming means to send the
// state if it is newer than Last-Event-ID. The stream ends when the run is
// over; coming back then with its last number is answered 204, which tells a
// browser not to come again.
func (s *site) events(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	run, changed, err := s.states.of(s.desk, id, true)
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	seen, resumed := lastSeen(r)
	if resumed && run.over && run.number <= seen {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	st := s.open(w)
	st.write("retry: 1000\n\n")
	if r.Method == http.MethodHead {
		return
	}
	if resumed && run.number == seen {
		st.last = run.json
	}
	s.follow(r, st, id, run, changed)
}

// follow sends the run whenever it has changed, until it is over, the reader
// has gone, or nobody reads.
func (s *site) follow(r *http.Request, st *stream, id string, run state, changed <-chan struct{}) {
	s.viewers.Add(1)
	defer s.viewers.Add(-1)
	beat := time.NewTicker(s.opts.Heartbeat)
	defer beat.Stop()
	var err error
	for st.err == nil {
		st.send(run)
		if run.over {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-beat.C:
			st.write(": still here\n\n")
			continue
		case <-changed:
		}
		s.stagger(r.Context())
		if run, changed, err = s.states.of(s.desk, id, false); err != nil {
			s.opts.Log.Error("web: event stream", "run", id, "cause", err)
			return
		}
	}
}

// fewViewers are told of a change at once. More are told one after the other,
// about staggerBy apart, so that a crowd does not stand between the run and the
// printer: 200 take 0.6 s, which nobody sees.
const (
	fewViewers = 8
	staggerBy  = 3 * time.Millisecond
)

// stagger waits for this stream's turn.
func (s *site) stagger(ctx context.Context) {
	n := s.viewers.Load()
	if n <= fewViewers {
		return
	}
	t := time.NewTimer(rand.N(time.Duration(n) * staggerBy))
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// lastSeen returns the number of the last event that the reader has, and
// whether it said one.
func lastSeen(r *http.Request) (int64, bool) {
	n, err := strconv.ParseInt(r.Header.Get("Last-Event-ID"), 10, 64)
	return n, err == nil
}

// stream writes events; after the first error it writes nothing more.
type stream struct {
	w        http.ResponseWriter
	rc       *http.ResponseController
	patience time.Duration
	last     []byte
	err      error
}

// open begins the answer. The server's own deadlines would cut a stream: each
// write gets its own instead.
func (s *site) open(w http.ResponseWriter) *stream {
	patient(w)
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no")
	w.WriteHeader(http.StatusOK)
	return &stream{w: w, rc: http.NewResponseController(w), patience: s.opts.Patience}
}

// send writes the run, unless the reader has just that already.
func (st *stream) send(run state) {
	if bytes.Equal(run.json, st.last) {
		return
	}
	st.last = run.json
	st.write(fmt.Sprintf("id: %d\ndata: %s\n\n", run.number, run.json))
}

func (st *stream) write(text string) {
	if st.err != nil {
		return
	}
	_ = st.rc.SetWriteDeadline(time.Now().Add(st.patience))
	if _, st.err = st.w.Write([]byte(text)); st.err == nil {
		st.err = st.rc.Flush()
	}
}
