package e2e_test

import (
	"bufio"
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/cmd/abbed/demo"
	"abbed/cmd/abbed/house"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/client"
	"abbed/gcode/bench"
	"abbed/gcode/clock"
)

// TestSlowClients: 200 clients that send their requests byte by byte, viewers of
// the page and a scraper do not disturb a run: it ends as it does alone. TestLoad
// has the same at real speed, with the host's share.
func TestSlowClients(t *testing.T) {
	if testing.Short() {
		t.Skip("opens hundreds of connections")
	}
	alone := runInCrowd(t, 0, 0)
	among := runInCrowd(t, 200, 20)
	if alone.State != api.Done || among.State != api.Done || alone.Touches != among.Touches {
		t.Errorf("alone %s with %d touches, in the crowd %s with %d", alone.State, alone.Touches, among.State, among.Touches)
	}
}

// runInCrowd does a repeat test in a daemon of this process that listens on the
// network, with a crowd at its door.
func runInCrowd(t *testing.T, slow, viewers int) api.Run {
	t.Helper()
	sc := lookup(t, "healthy")
	wire := &cable{printer: bench.New(sc, bench.Options{Seed: 1, Speed: 500})}
	s := demo.DemoSettings(sc, "bench", "127.0.0.1:0", memoryDir(t))
	smaller(&s)
	h, err := house.Build(t.Context(), house.Plan{Settings: s, Clock: clock.Real(), Open: wire.open, Log: slog.New(slog.DiscardHandler)})
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
	defer func() { end(); own.Wait(); wire.serving.Wait() }()
	a := client.New(h.URL(), tokenOf(t, h))
	var run api.Run
	if err := client.Patiently(t.Context(), func() (err error) { run, err = a.StartRun(t.Context(), "repeat"); return err }); err != nil {
		t.Fatal(err)
	}
	crowdCtx, disperse := context.WithCancel(t.Context())
	crowd := newCrowd(h.URL(), run.ID)
	if slow > 0 {
		crowd.gather(crowdCtx, viewers, slow)
	}
	how := api.Confirm{Person: "in the crowd"}
	for _, c := range run.Cautions {
		how.Cautions = append(how.Cautions, c.ID)
	}
	if err := a.Confirm(t.Context(), run.ID, how); err != nil {
		t.Error(err)
	}
	run, err = a.Wait(t.Context(), run.ID, func(r api.Run) bool { return r.State.Over() })
	disperse()
	crowd.wait()
	if err != nil || crowd.failed.Load() > 0 {
		t.Errorf("%v; %d requests failed, such as %v", err, crowd.failed.Load(), crowd.first)
	}
	return run
}

// TestRawRequests sends what no library sends: each is refused, or the
// connection is closed; nothing is done, and the daemon goes on.
func TestRawRequests(t *testing.T) {
	h := livingHouse(t, func(*config.Settings) {})
	addr, token := strings.TrimPrefix(h.URL(), "http://"), tokenOf(t, h)
	ours := "Host: " + addr + "\r\nAuthorization: Bearer " + token + "\r\n"
	const open, undo = "POST /api/v1/printer/open HTTP/1.1\r\n", "POST /api/v1/applied/undo HTTP/1.1\r\n"
	body := `{"person":"x"}`
	for name, raw := range map[string]string{
		"two lengths":               open + ours + "Content-Length: 14\r\nContent-Length: 3\r\n\r\n" + body,
		"length and chunks":         open + ours + "Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n" + undo + ours + "\r\n",
		"an odd encoding":           open + ours + "Transfer-Encoding: xchunked\r\n\r\n" + body,
		"a negative length":         open + ours + "Content-Length: -1\r\n\r\n" + body,
		"an endless length":         open + ours + "Content-Length: 99999999999999999999\r\n\r\n" + body,
		"two hosts":                 open + ours + "Host: evil.example\r\n\r\n",
		"no host":                   "POST /api/v1/printer/open HTTP/1.1\r\nAuthorization: Bearer " + token + "\r\n\r\n",
		"another address in line":   "POST http://evil.example/api/v1/printer/open HTTP/1.1\r\n" + ours + "Content-Type: application/json\r\nContent-Length: 14\r\n\r\n" + body,
		"a token in a folded line":  open + "Host: " + addr + "\r\nContent-Type: application/json\r\nX-A: b\r\n Authorization: Bearer " + token + "\r\nContent-Length: 14\r\n\r\n" + body,
		"a header without a name":   open + ours + ": x\r\n\r\n",
		"a blank before the colon":  open + ours + "Content-Length : 14\r\n\r\n" + body,
		"a NUL in a header":         open + ours + "X-A: \x00\r\n\r\n",
		"a line feed in the path":   "GET /\n/api HTTP/1.1\r\n" + ours + "\r\n",
		"headers without an end":    "GET / HTTP/1.1\r\n" + ours + strings.Repeat("X-A: "+strings.Repeat("b", 1000)+"\r\n", 40) + "\r\n",
		"a path without an end":     "GET /" + strings.Repeat("a", 40000) + " HTTP/1.1\r\n" + ours + "\r\n",
		"a method of its own":       "BREW /api/v1/applied HTTP/1.1\r\n" + ours + "\r\n",
		"a tunnel":                  "CONNECT evil.example:80 HTTP/1.1\r\n" + ours + "\r\n",
		"an upgrade":                "GET /api/v1/stop HTTP/1.1\r\n" + ours + "Connection: Upgrade\r\nUpgrade: h2c\r\n\r\n",
		"another protocol's hello":  "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
		"half a request":            "POST /api/v1/pr",
		"climbing":                  "GET /static/../../../../etc/passwd HTTP/1.1\r\n" + ours + "\r\n",
		"climbing, escaped":         "GET /static/%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\n" + ours + "\r\n",
		"climbing, with NUL":        "GET /static/abbed.css%00.txt HTTP/1.1\r\n" + ours + "\r\n",
		"climbing, by backslash":    "GET /static/..%5c..%5cetc HTTP/1.1\r\n" + ours + "\r\n",
		"a run's name that climbs":  "GET /api/v1/runs/..%2f..%2ftoken/record HTTP/1.1\r\n" + ours + "\r\n",
		"a body where none belongs": "POST /api/v1/applied/undo HTTP/1.1\r\n" + ours + "Content-Type: application/json\r\nContent-Length: 14\r\n\r\n" + body,
	} {
		conn, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		_ = conn.SetDeadline(time.Now().Add(20 * time.Second))
		_, _ = conn.Write([]byte(raw)) // it may be closed already
		if c, ok := conn.(*net.TCPConn); ok {
			_ = c.CloseWrite()
		}
		answers := bufio.NewReader(conn)
		for n := 0; ; n++ {
			res, err := http.ReadResponse(answers, nil)
			if err != nil {
				break
			}
			if res.StatusCode < 300 || res.StatusCode == 500 {
				t.Errorf("%s: answer %d is %s", name, n+1, res.Status)
			}
			_ = res.Body.Close()
		}
		_ = conn.Close()
	}
	a := client.New(h.URL(), token)
	if p, err := a.Printer(t.Context()); err != nil || p.Link != api.Unopened && p.Link != api.Lost && p.Link != api.Connecting {
		t.Errorf("afterwards: %s, %v", p.Link, err)
	}
	if rows, err := h.Store.AuditTail(t.Context(), 9); err != nil || len(rows) > 0 {
		t.Errorf("something was done: %+v, %v", rows, err)
	}
}

// TestSignOffAttacks: a sign-off counts once, for one table, for ten minutes,
// while the run and the printer's map still bear it.
func TestSignOffAttacks(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	sc.Chatter, sc.Waits = 0, 0
	base := measured(t, sc, 2)
	for name, c := range map[string]struct {
		do   func(t *testing.T, w *world, digest, token string) error
		code string
	}{
		"replayed": {func(t *testing.T, w *world, digest, token string) error {
			p := &demo.Person{API: w.api, Name: "the played person"}
			if err := errors.Join(w.api.Apply(t.Context(), digest, token), p.Settled(t.Context(), api.Kept), w.api.Undo(t.Context()), p.Settled(t.Context(), api.Undone)); err != nil {
				t.Fatal(err)
			}
			return w.api.Apply(t.Context(), digest, token)
		}, "token-bad"},
		"late": {func(t *testing.T, w *world, digest, token string) error {
			time.Sleep(11 * time.Minute)
			return w.api.Apply(t.Context(), digest, token)
		}, "token-bad"},
		"altered": {func(t *testing.T, w *world, digest, token string) error {
			return w.api.Apply(t.Context(), digest, token[:len(token)-2]+"AA")
		}, "token-bad"},
		"made up": {func(t *testing.T, w *world, digest, _ string) error {
			return w.api.Apply(t.Context(), digest, "eyJhbGciOiJub25lIn0.e30.")
		}, "token-bad"},
		"for another table": {func(t *testing.T, w *world, digest, token string) error {
			return w.api.Apply(t.Context(), strings.Repeat("0", len(digest)), token)
		}, "not-found"},
		"the operator's token in its place": {func(t *testing.T, w *world, digest, _ string) error {
			return w.api.Apply(t.Context(), digest, tokenOf(t, w.house))
		}, "token-bad"},
		"a stale map": {func(t *testing.T, w *world, digest, token string) error {
			w.wire.printer.Shift(0.02)
			return w.api.Apply(t.Context(), digest, token)
		}, "map-changed"},
		"after a restart of the daemon": {func(t *testing.T, w *world, digest, token string) error {
			return w.api.Apply(t.Context(), digest, token)
		}, "token-bad"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := image(t, base)
			synctest.Test(t, func(t *testing.T) {
				printer := bench.New(sc, bench.Options{Seed: 2})
				w := open(t, dir, sc, &cable{printer: printer})
				defer func() { w.close() }()
				ready(t, w)
				runs, err := w.api.Runs(t.Context())
				if err != nil || len(runs) != 1 {
					t.Fatalf("%d runs, %v", len(runs), err)
				}
				table, err := w.api.Table(t.Context(), runs[0].ID)
				if err != nil || table.Digest == nil {
					t.Fatalf("%+v %v", table.Refused, err)
				}
				how := api.SignOff{Person: "the played person"}
				for _, c := range table.Cautions {
					how.Cautions = append(how.Cautions, c.ID)
				}
				signed, err := w.api.SignOff(t.Context(), *table.Digest, how)
				if err != nil {
					t.Fatal(err)
				}
				before := printer.Kept()
				if strings.Contains(name, "restart") {
					w.close()
					w = open(t, dir, sc, &cable{printer: printer})
					ready(t, w)
				}
				err = c.do(t, w, *table.Digest, signed.Token)
				if refusedWith(err) != c.code {
					t.Errorf("%v, want %s", err, c.code)
				}
				if !equalNodes(before, printer.Kept()) {
					t.Error("the map was changed")
				}
			})
		})
	}
}

// tokenOf reads the operator's token.
func tokenOf(t *testing.T, h *house.House) string {
	t.Helper()
	b, err := os.ReadFile(h.Access.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}
