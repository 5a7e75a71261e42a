package webtest

import (
	"bytes"
	"io"
	"net/http"
	"strings"
	"sync"
)

// Transport compares every answer that passes through it with the description.
// Put it around the transport of a client, and every test is a test of the
// description.
type Transport struct {
	Next http.RoundTripper
	// Fail is told of every answer that does not fit.
	Fail func(error)

	mu   sync.Mutex
	seen map[string]bool
}

// RoundTrip sends the request on and compares what comes back. Answers to paths
// that are not of the API are let through.
func (t *Transport) RoundTrip(req *http.Request) (*http.Response, error) {
	next := t.Next
	if next == nil {
		next = http.DefaultTransport
	}
	res, err := next.RoundTrip(req)
	if err != nil || !strings.HasPrefix(req.URL.Path, "/api/") || req.Method == http.MethodHead {
		return res, err
	}
	t.note(req.Method, req.URL.Path, res.StatusCode)
	check := func(b []byte) {
		if err := Validate(req.Method, req.URL.EscapedPath(), res.StatusCode, b); err != nil {
			t.Fail(err)
		}
	}
	if strings.HasPrefix(res.Header.Get("Content-Type"), "text/event-stream") {
		res.Body = &watched{ReadCloser: res.Body, check: check}
		return res, nil
	}
	b, err := io.ReadAll(res.Body)
	res.Body.Close()
	if err != nil {
		return nil, err
	}
	check(b)
	res.Body = io.NopCloser(bytes.NewReader(b))
	return res, nil
}

func (t *Transport) note(method, path string, status int) {
	template, ok := theBook().find(path)
	if !ok || status >= 300 {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.seen == nil {
		t.seen = map[string]bool{}
	}
	t.seen[strings.ToLower(method)+" "+template] = true
}

// Unseen lists the operations of the API ("get /api/v1/runs") of which no
// success has passed through yet.
func (t *Transport) Unseen() []string {
	t.mu.Lock()
	defer t.mu.Unlock()
	var out []string
	for template, methods := range theBook().paths {
		for method := range methods.(map[string]any) {
			op := method + " " + template
			if method != "parameters" && strings.HasPrefix(template, "/api/v1/") && !t.seen[op] {
				out = append(out, op)
			}
		}
	}
	return out
}

// watched compares an event stream as it is read, event by event.
type watched struct {
	io.ReadCloser
	check func([]byte)
	held  []byte
}

func (w *watched) Read(p []byte) (int, error) {
	n, err := w.ReadCloser.Read(p)
	w.held = append(w.held, p[:n]...)
	for {
		end := bytes.Index(w.held, []byte("\n\n"))
		if end < 0 {
			return n, err
		}
		w.check(w.held[:end+1])
		w.held = w.held[end+2:]
	}
}
