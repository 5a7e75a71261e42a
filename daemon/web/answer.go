package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"abbed/daemon/api"
)

var errInternal = api.Errorf(http.StatusInternalServerError, "internal",
	"read the daemon's log, and tell who looks after it", "a fault of this program")

// answer writes body as JSON. A body that JSON cannot hold (a number that is
// not finite) is a fault of ours: 500, and nothing of it is sent.
func (s *site) answer(w http.ResponseWriter, r *http.Request, status int, body any) {
	b, err := json.Marshal(tidy(body))
	if err != nil {
		s.opts.Log.Error("web: answer", "path", r.URL.Path, "cause", err)
		status, b = errInternal.Status, mustJSON(api.Refusal{Error: errInternal})
	}
	s.send(w, status, b)
}

// send writes JSON that is ready.
func (s *site) send(w http.ResponseWriter, status int, b []byte) {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Length", strconv.Itoa(len(b)+1))
	// The server's own deadline counts from the request; an answer that waited
	// for a move gets its own.
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(s.opts.Patience))
	w.WriteHeader(status)
	_, _ = w.Write(append(bytes.Clone(b), '\n'))
}

// refuse writes err as a refusal.
func (s *site) refuse(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // nobody listens any more
	}
	e := s.refusal(r, err)
	if e.RetryAfter > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(e.RetryAfter))
	}
	s.send(w, e.Status, mustJSON(api.Refusal{Error: e}))
}

// refusal finds the api.Error in err, or makes one of what is no refusal.
func (s *site) refusal(r *http.Request, err error) *api.Error {
	var e *api.Error
	if errors.As(err, &e) && e != nil && e.Status >= 400 && e.Status <= 599 {
		return e
	}
	s.opts.Log.Error("web: the desk failed", "path", r.URL.Path, "cause", err)
	return errInternal
}

// patient lifts the server's deadlines from a request whose answer takes as
// long as the machine does.
func patient(w http.ResponseWriter) {
	rc := http.NewResponseController(w)
	_ = rc.SetReadDeadline(time.Time{})
	_ = rc.SetWriteDeadline(time.Time{})
}

func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // only for shapes that hold no floats
	}
	return b
}
