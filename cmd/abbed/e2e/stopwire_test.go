package e2e_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/daemon/store/storetest"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// stopWithin is how long a stop request may take to the wire, whatever goes on.
const stopWithin = 500 * time.Millisecond

// visitor is somebody at the door who means harm; it goes on until the context ends.
type visitor func(ctx context.Context, addr, run string)

// visitors begin connections with what open says of them, hold many of them at a time
// and begin anew whatever is closed on them.
func visitors(many int, text func(addr, run string) string) visitor {
	return func(ctx context.Context, addr, run string) {
		var own sync.WaitGroup
		for range many {
			own.Go(func() {
				for ctx.Err() == nil {
					c, err := net.Dial("tcp", addr)
					if err != nil {
						return
					}
					_ = c.(*net.TCPConn).SetReadBuffer(4096)
					ended := context.AfterFunc(ctx, func() { c.Close() })
					_, err = io.WriteString(c, text(addr, run))
					for one := make([]byte, 1); err == nil; {
						_, err = c.Read(one) // very slowly
						select {
						case <-ctx.Done():
						case <-time.After(200 * time.Millisecond):
						}
					}
					ended()
					c.Close()
				}
			})
		}
		own.Wait()
	}
}

// TestStopReachesTheWire: a stop request without a token is on its way to the printer
// within half a second, and health and the operator are answered, while somebody holds
// all the places that can be held, while 200 people look on, and on a disk that takes
// nothing or does not answer.
func TestStopReachesTheWire(t *testing.T) {
	if testing.Short() {
		t.Skip("opens hundreds of connections")
	}
	get := func(path string) func(addr, run string) string {
		return func(addr, run string) string {
			return "GET " + strings.ReplaceAll(path, "RUN", run) + " HTTP/1.1\r\nHost: " + addr + "\r\n\r\n"
		}
	}
	for name, c := range map[string]struct {
		visit visitor
		disk  func(storetest.Op) storetest.Fault
	}{
		"nobody":                 {},
		"660 event streams":      {visit: visitors(660, get("/api/v1/runs/RUN/events"))},
		"700 halves of requests": {visit: visitors(700, func(addr, _ string) string { return "POST /api/v1/stop HTTP/1.1\r\nHost: " + addr + "\r\n" })},
		"700 halves of bodies": {visit: visitors(700, func(addr, run string) string {
			return "POST /api/v1/runs/" + run + "/gap HTTP/1.1\r\nHost: " + addr + "\r\nContent-Type: application/json\r\nContent-Length: 900\r\n\r\n{"
		})},
		"700 halves of codes": {visit: visitors(700, func(addr, _ string) string {
			return "POST /in HTTP/1.1\r\nHost: " + addr + "\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 900\r\n\r\ncode="
		})},
		"700 that read slowly": {visit: visitors(700, func(addr, run string) string { return strings.Repeat(get("/metrics")(addr, run), 40) })},
		"200 viewers": {visit: func(ctx context.Context, addr, run string) {
			crowd := newCrowd("http://"+addr, run)
			crowd.gather(ctx, 200, 0)
			crowd.wait()
		}},
		"200 slow clients": {visit: func(ctx context.Context, addr, run string) {
			crowd := newCrowd("http://"+addr, run)
			crowd.gather(ctx, 0, 200)
			crowd.wait()
		}},
		"a full disk": {disk: func(op storetest.Op) storetest.Fault { return failing(storetest.Full)(op) }},
		"a disk that does not answer": {disk: func(op storetest.Op) storetest.Fault {
			if op.Kind != storetest.Read {
				time.Sleep(3 * time.Second)
			}
			return storetest.None
		}},
	} {
		t.Run(name, func(t *testing.T) {
			dir := memoryDir(t)
			disk := storetest.Watch(t, dir)
			tap := &tapped{printer: bench.New(lookup(t, "healthy"), bench.Options{Seed: 1, Speed: 10})}
			h, addr := tap.house(t, dir)
			run := tap.running(t, h)
			ctx, leave := context.WithCancel(t.Context())
			var own sync.WaitGroup
			defer func() { leave(); own.Wait() }()
			if c.visit != nil {
				own.Go(func() { c.visit(ctx, addr, run) })
				time.Sleep(2 * time.Second) // until the door is as full as they make it
			}
			if c.disk != nil {
				disk.On(c.disk)
				defer disk.On(nil)
			}
			if c.disk == nil {
				began := time.Now()
				fetched(t, "GET", "http://"+addr+"/healthz", "")
				fetched(t, "GET", "http://"+addr+"/api/v1/printer", tokenOf(t, h))
				took := time.Since(began).Round(time.Millisecond)
				t.Logf("health and the operator after %v", took)
				if took > 4*stopWithin {
					t.Errorf("later than %v", 4*stopWithin)
				}
			}
			began := time.Now()
			answered := make(chan string, 1)
			own.Go(func() { answered <- fetched(t, "POST", "http://"+addr+"/api/v1/stop", "") })
			select {
			case at := <-tap.stopped:
				t.Logf("at the printer after %v", at.Sub(began).Round(time.Millisecond))
				if at.Sub(began) > stopWithin {
					t.Errorf("later than %v", stopWithin)
				}
			case <-time.After(10 * time.Second):
				t.Error("it never came to the printer")
			}
			disk.On(nil)
			if text := <-answered; !strings.Contains(text, `"requested":true`) {
				t.Errorf("answered %s", text)
			}
		})
	}
}

// fetched sends one request over a connection of its own, and returns its answer.
func fetched(t *testing.T, method, url, token string) string {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, nil)
	if err != nil {
		t.Error(err)
		return ""
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	c := http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: 20 * time.Second}
	res, err := c.Do(r)
	if err != nil {
		t.Errorf("%s %s: %v", method, url, err)
		return ""
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode >= 300 {
		t.Errorf("%s %s: %s %s %v", method, url, res.Status, b, err)
	}
	return string(b)
}

// tapped is a virtual printer whose end of the line tells when a stop request came.
type tapped struct {
	printer *bench.Printer
	serving sync.WaitGroup
	stopped chan time.Time
}

func (p *tapped) open(ctx context.Context) (io.ReadWriteCloser, error) {
	near, far := net.Pipe()
	p.serving.Go(func() {
		_ = p.printer.Serve(context.WithoutCancel(ctx), ear{far, p})
		_ = far.Close()
	})
	return near, nil
}

// ear is the printer's end of the line.
type ear struct {
	net.Conn
	tap *tapped
}

func (e ear) Read(b []byte) (int, error) {
	n, err := e.Conn.Read(b)
	if bytes.Contains(b[:n], []byte("M112")) {
		select {
		case e.tap.stopped <- time.Now():
		default:
		}
	}
	return n, err
}

// house starts a daemon of this process at the printer, and returns where it listens.
func (p *tapped) house(t *testing.T, dir string) (*house.House, string) {
	t.Helper()
	p.stopped = make(chan time.Time, 1)
	s := demo.DemoSettings(lookup(t, "healthy"), "bench", "127.0.0.1:0", dir)
	h, err := house.Build(t.Context(), house.Plan{Settings: s, Clock: clock.Fast(10), Open: p.open, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(t.Context()))
	var own sync.WaitGroup
	own.Go(func() {
		if err := h.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(func() { end(); own.Wait(); p.serving.Wait() })
	return h, strings.TrimPrefix(h.URL(), "http://")
}

// running begins a run that moves, and returns it.
func (p *tapped) running(t *testing.T, h *house.House) string {
	t.Helper()
	a := client.New(h.URL(), tokenOf(t, h))
	var run api.Run
	if err := client.Patiently(t.Context(), func() (err error) { run, err = a.StartRun(t.Context(), "repeat"); return err }); err != nil {
		t.Fatal(err)
	}
	how := api.Confirm{Person: "who stands beside it"}
	for _, c := range run.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	if err := a.Confirm(t.Context(), run.ID, how); err != nil {
		t.Fatal(err)
	}
	run, err := a.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.Touches > 0 || r.State.Over() })
	if err != nil || run.State.Over() {
		t.Fatal(fmt.Errorf("the run is %s: %+v, %w", run.State, run.Error, err))
	}
	return run.ID
}
