package web_test

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/web"
	"abbed/daemon/web/webtest"
)

// pipes is a listener whose connections stay in memory, so that time in a
// synctest bubble stands still while nothing waits but time.
type pipes struct {
	conns chan net.Conn
	done  chan struct{}
}

func newPipes() *pipes { return &pipes{conns: make(chan net.Conn), done: make(chan struct{})} }

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.conns:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}
func (p *pipes) Close() error   { close(p.done); return nil }
func (p *pipes) Addr() net.Addr { return &net.IPAddr{} }

func (p *pipes) dial(ctx context.Context, _, _ string) (net.Conn, error) {
	near, far := net.Pipe()
	select {
	case p.conns <- far:
		return near, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// serve serves d as the daemon does, with deadlines that a stream outlives, and
// returns a client of it and what shuts it down (which the test's end does too).
func serve(t *testing.T, d *webtest.Desk) (*http.Client, func()) {
	p := newPipes()
	base, stop := context.WithCancel(t.Context())
	s := &http.Server{Handler: web.New(d, web.Options{}), ReadTimeout: 20 * time.Second, WriteTimeout: 20 * time.Second,
		BaseContext: func(net.Listener) context.Context { return base }}
	s.RegisterOnShutdown(stop)
	ended := make(chan error)
	go func() { ended <- s.Serve(p) }()
	tr := &http.Transport{DialContext: p.dial}
	shut := sync.OnceFunc(func() {
		if err := s.Shutdown(context.Background()); err != nil {
			t.Error(err)
		}
		tr.CloseIdleConnections()
		if err := <-ended; err != http.ErrServerClosed {
			t.Error(err)
		}
	})
	t.Cleanup(shut)
	return &http.Client{Transport: tr}, shut
}

// lines reads an event stream line by line into a channel.
func lines(t *testing.T, c *http.Client, last string) (<-chan string, *http.Response) {
	req, _ := http.NewRequestWithContext(t.Context(), "GET", "http://abbed/api/v1/runs/r1/events", nil)
	if last != "" {
		req.Header.Set("Last-Event-ID", last)
	}
	res, err := c.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	out := make(chan string, 1000)
	go func() {
		defer close(out)
		for sc := bufio.NewScanner(res.Body); sc.Scan(); {
			out <- sc.Text()
		}
	}()
	return out, res
}

// drain returns the lines that came so far, but the empty ones.
func drain(in <-chan string) (out []string) {
	synctest.Wait()
	for {
		select {
		case s, ok := <-in:
			if !ok {
				return append(out, "end")
			}
			if s != "" {
				out = append(out, s)
			}
		default:
			return out
		}
	}
}

func TestEvents(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := webtest.Scene("survey")
		c, _ := serve(t, d)
		in, res := lines(t, c, "")
		defer res.Body.Close()
		if got := drain(in); len(got) != 3 || got[1] != "id: 690" || !strings.Contains(got[2], `"done":74`) {
			t.Fatalf("first: %q", got)
		}
		d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done, s.Runs[0].Number = 75, 691 })
		if got := drain(in); len(got) != 2 || got[0] != "id: 691" || !strings.Contains(got[1], `"done":75`) {
			t.Errorf("after a change: %q", got)
		}
		d.Change(func(s *webtest.Show) { s.Printer.Homed = false })
		if got := drain(in); len(got) != 0 {
			t.Errorf("after a change elsewhere: %q, want nothing", got)
		}
		time.Sleep(50 * time.Second) // longer than the server's own deadlines
		if got := drain(in); len(got) != 3 || got[0] != ": still here" {
			t.Errorf("after 50 s: %q, want three signs of life", got)
		}
		d.Change(func(s *webtest.Show) { s.Runs[0].State, s.Runs[0].Number = api.Done, 812 })
		if got := drain(in); len(got) != 3 || got[0] != "id: 812" || got[2] != "end" {
			t.Errorf("at the end: %q", got)
		}
	})
}

func TestEventsResume(t *testing.T) {
	for name, c := range map[string]struct {
		scene, last string
		want        int
	}{
		"nothing new":      {"survey", "690", 1},
		"something newer":  {"survey", "600", 3},
		"a number of ours": {"survey", "soon", 3},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				client, _ := serve(t, webtest.Scene(c.scene))
				in, res := lines(t, client, c.last)
				defer res.Body.Close()
				if got := drain(in); len(got) != c.want {
					t.Errorf("%q, want %d lines", got, c.want)
				}
			})
		})
	}
	synctest.Test(t, func(t *testing.T) {
		client, _ := serve(t, webtest.Scene("done"))
		_, res := lines(t, client, "812")
		defer res.Body.Close()
		if res.StatusCode != http.StatusNoContent {
			t.Errorf("a run that is over and read: %d, want 204", res.StatusCode)
		}
	})
}

// Shutdown ends open streams at once.
func TestEventsEndAtShutdown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		client, shut := serve(t, webtest.Scene("survey"))
		in, res := lines(t, client, "")
		defer res.Body.Close()
		drain(in)
		began := time.Now()
		shut()
		if d := time.Since(began); d > 2*time.Second {
			t.Errorf("shutdown took %v", d)
		}
	})
}

// A reader that reads nothing is given up, and so is its goroutine: the bubble
// would not end else.
func TestDeafReader(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := webtest.Scene("survey")
		p := newPipes()
		over := make(chan struct{})
		inner := web.New(d, web.Options{Patience: 5 * time.Second})
		s := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { inner.ServeHTTP(w, r); close(over) })}
		go func() { _ = s.Serve(p) }()
		conn, err := p.dial(t.Context(), "", "")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := conn.Write([]byte("GET /api/v1/runs/r1/events HTTP/1.1\r\nHost: abbed\r\n\r\n")); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		<-over
		if took := time.Since(began); took != 5*time.Second {
			t.Errorf("given up after %v, want 5 s", took)
		}
		conn.Close()
		_ = s.Close()
	})
}

// Whoever begins to watch is told how the run stands, not how it stood when
// somebody else was told: they act on it.
func TestEventsBeginFresh(t *testing.T) {
	d := &quiet{Desk: webtest.Scene("survey")}
	s := httptest.NewServer(web.New(d, web.Options{}))
	defer s.Close()
	first := func() string {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		req, _ := http.NewRequestWithContext(ctx, "GET", s.URL+"/api/v1/runs/r1/events", nil)
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		lines := bufio.NewScanner(res.Body)
		for lines.Scan() {
			if strings.HasPrefix(lines.Text(), "data:") {
				return lines.Text()
			}
		}
		return ""
	}
	before := first()
	d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done = 75 })
	if after := first(); after == before || !strings.Contains(after, `"done":75`) {
		t.Errorf("told %s", after)
	}
}

// quiet is a desk whose changes are not told yet.
type quiet struct{ *webtest.Desk }

var untold = make(chan struct{})

func (quiet) Changed() <-chan struct{} { return untold }
