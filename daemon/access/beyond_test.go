package access_test

import (
	"bufio"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/access"
)

const wide = "0.0.0.0:8077"

// openHouse is a house with rules, on every address.
func openHouse(t *testing.T, rules access.Rules) *house {
	t.Helper()
	h := &house{t: t, clock: newHand()}
	dir := t.TempDir()
	a, _, err := access.Open(access.Options{Dir: dir, Now: h.clock.now, Rules: rules})
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(dir, "token"))
	if err != nil {
		t.Fatal(err)
	}
	h.Access, h.token = a, strings.TrimSpace(string(b))
	at := wide
	if !rules.Beyond {
		at = listen
	}
	h.handler, err = a.Guard(at, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.through++
		h.visitor = access.From(r.Context())
		w.WriteHeader(http.StatusNoContent)
	}))
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// Beyond loopback nothing is open but the way in and our own files.
func TestBeyond(t *testing.T) {
	scrape := filepath.Join(t.TempDir(), "scrape")
	const scraper = "a-token-of-the-scrapers-own"
	if err := os.WriteFile(scrape, []byte(scraper+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	h := openHouse(t, access.Rules{
		Beyond: true, Hosts: []string{"printer.example", "192.0.2.4:8077"}, ScrapeToken: scrape,
		Scrapers: []netip.Prefix{netip.MustParsePrefix("198.51.100.0/24")},
	})
	far, name := from("192.0.2.7:4000"), host("printer.example:8077")
	good, scrapes := header("Authorization", "Bearer "+h.token), header("Authorization", "Bearer "+scraper)
	watcher := from("198.51.100.9:1")
	type change = []func(*http.Request)
	for what, try := range map[string]struct {
		method, path string
		change       change
		status       int
	}{
		"reads":                       {"GET", "/api/v1/printer", change{far, name}, 401},
		"reads the page":              {"GET", "/", change{far, name}, 401},
		"reads metrics":               {"GET", "/metrics", change{far, name}, 401},
		"reads health":                {"GET", "/healthz", change{far, name}, 401},
		"reads the description":       {"GET", "/api/openapi.json", change{far, name}, 401},
		"asks for a gap":              {"POST", "/api/v1/runs/018f/gap", change{far, name}, 401},
		"stops":                       {"POST", "/api/v1/stop", change{far, name}, 401},
		"lists sessions":              {"GET", "/api/v1/sessions", change{far, name}, 401},
		"says it is near":             {"GET", "/", change{far, name, header("X-Forwarded-For", "127.0.0.1"), header("X-Real-Ip", "127.0.0.1")}, 401},
		"says localhost":              {"GET", "/", change{far, host("localhost:8077")}, 401},
		"climbs out of our files":     {"GET", "/static/..%2f..%2fapi/v1/printer", change{far, name}, 401},
		"climbs with dots":            {"GET", "/static/../api/v1/printer", change{far, name}, 307},
		"asks by another name":        {"GET", "/static/abbed.css", change{far, host("evil.example:8077")}, 421},
		"asks by a part of the name":  {"GET", "/", change{far, host("example:8077")}, 421},
		"rebinds at home":             {"GET", "/", change{host("evil.example:8077")}, 421},
		"the scraper's token reads":   {"GET", "/metrics", change{far, name, scrapes}, 204},
		"the scraper's token reads h": {"GET", "/healthz", change{far, name, scrapes}, 204},
		"the scraper's token looks":   {"GET", "/api/v1/runs", change{far, name, scrapes}, 403},
		"the scraper's token stops":   {"POST", "/api/v1/stop", change{far, name, scrapes}, 403},
		"the scraper's token runs":    {"POST", "/api/v1/runs", change{far, name, scrapes}, 403},
		"the scraper's address":       {"GET", "/metrics", change{watcher, name}, 204},
		"the scraper's address looks": {"GET", "/api/v1/runs", change{watcher, name}, 401},
		"the scraper's by a proxy":    {"GET", "/metrics", change{watcher, name, header("X-Forwarded-For", "192.0.2.1")}, 401},
		"names the scraper's address": {"GET", "/metrics", change{far, name, header("X-Forwarded-For", "198.51.100.9")}, 401},
		"our own files":               {"GET", "/static/abbed.css", change{far, name}, 204},
		"the way in":                  {"GET", "/in", change{far, name}, 200},
		"the token":                   {"GET", "/api/v1/printer", change{far, name, good}, 204},
		"the token at the address":    {"GET", "/api/v1/printer", change{far, host("192.0.2.4:8077"), good}, 204},
		"this machine":                {"GET", "/api/v1/printer", nil, 204},
		"this machine by far name":    {"GET", "/api/v1/printer", change{name}, 401},
	} {
		h.clock.add(time.Hour)
		if w := h.ask(try.method, try.path, "", try.change...); w.Code != try.status {
			t.Errorf("%s: %d %s, want %d", what, w.Code, w.Body, try.status)
		}
	}

	// A phone comes in by the code, typed as people type, and then may look.
	link, _ := h.Link(h.Base(), access.Look)
	if !strings.HasPrefix(link, "http://printer.example:8077/in/") {
		t.Errorf("link %s", link)
	}
	code := link[strings.LastIndexByte(link, '/')+1:]
	typed := strings.ToLower(strings.NewReplacer("-", " ", "O", "0", "I", "1", "B", "8").Replace(code))
	w := h.ask("POST", "/in", url.Values{"code": {typed}}.Encode(), far, name, header("Content-Type", "application/x-www-form-urlencoded"), header("Sec-Fetch-Site", "same-origin"))
	if w.Code != 303 {
		t.Fatalf("typed %q: %d %s", typed, w.Code, w.Body)
	}
	session := header("Cookie", w.Result().Cookies()[0].Name+"="+w.Result().Cookies()[0].Value)
	for path, status := range map[string]int{"GET /": 204, "GET /metrics": 204, "POST /api/v1/runs/018f/gap": 204, "POST /api/v1/stop": 403, "POST /api/v1/runs": 403} {
		method, path, _ := strings.Cut(path, " ")
		if w := h.ask(method, path, "", far, name, session); w.Code != status {
			t.Errorf("a session that looks: %s %s: %d, want %d", method, path, w.Code, status)
		}
	}
}

// Guessing codes: after ten wrong ones the right one is not looked at either.
func TestGuessingCodes(t *testing.T) {
	h := openHouse(t, access.Rules{Beyond: true, Hosts: []string{"printer.example"}})
	link, _ := h.Link(h.Base(), access.Everything)
	right := link[strings.LastIndexByte(link, '/')+1:]
	try := func(code, addr string) int {
		return h.ask("POST", "/in", url.Values{"code": {code}}.Encode(), from(addr), host("printer.example:8077"), header("Content-Type", "application/x-www-form-urlencoded")).Code
	}
	for n := range 10 {
		if got := try(fmt.Sprintf("AAAA-BBBB-CCC%d", n), "[2001:db8::1]:4000"); got != 401 {
			t.Fatalf("guess %d: %d", n, got)
		}
	}
	if got := try(right, "[2001:db8::1]:4000"); got != 429 {
		t.Errorf("the right one after ten wrong ones: %d", got)
	}
	if got := try(right, "[2001:db8::2:3]:4000"); got != 429 {
		t.Errorf("another address of the same network: %d", got)
	}
	if got := try(right, "192.0.2.7:4000"); got != 303 {
		t.Errorf("the right one from elsewhere: %d", got)
	}
}

// A proxy is believed only where the owner names it, and nothing is open to it.
func TestProxy(t *testing.T) {
	h := openHouse(t, access.Rules{Hosts: []string{"printer.example"}, Proxies: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}})
	name := host("printer.example")
	if h.Base() != "https://printer.example" {
		t.Errorf("base %s", h.Base())
	}
	for what, change := range map[string][]func(*http.Request){
		"with its headers":             {name, header("X-Forwarded-For", "192.0.2.7"), header("X-Forwarded-Proto", "https")},
		"without headers":              {name},
		"without headers, our own":     {},
		"somebody who claims loopback": {name, header("X-Forwarded-For", "127.0.0.1")},
	} {
		if w := h.ask("GET", "/api/v1/printer", "", change...); w.Code != 401 {
			t.Errorf("reading through the proxy, %s: %d", what, w.Code)
		}
	}
	// The session's cookie goes over TLS only, as the browser sees it.
	link, _ := h.Link(h.Base(), access.Look)
	form := url.Values{"code": {link[strings.LastIndexByte(link, '/')+1:]}}.Encode()
	w := h.ask("POST", "/in", form, name, header("X-Forwarded-For", "192.0.2.7"), header("X-Forwarded-Proto", "https"), header("Content-Type", "application/x-www-form-urlencoded"))
	if c := w.Result().Cookies(); len(c) != 1 || !c[0].Secure {
		t.Errorf("%d, cookies %v", w.Code, c)
	}
	// Tries are counted by whom the proxy names last, not by what they write.
	for n := range 12 {
		guess := h.ask("GET", "/", "", name, header("Authorization", "Bearer x"), header("X-Forwarded-For", fmt.Sprintf("203.0.113.%d, 192.0.2.9", n)))
		if want := map[bool]int{true: 401, false: 429}[n < 10]; guess.Code != want {
			t.Errorf("guess %d: %d", n, guess.Code)
		}
	}
	if w := h.ask("GET", "/", "", name, header("Authorization", "Bearer x"), header("X-Forwarded-For", "192.0.2.10")); w.Code != 401 {
		t.Errorf("somebody else behind the proxy: %d", w.Code)
	}
}

func TestScrapeTokenFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "scrape")
	for _, text := range []string{"", "short", "two words of twenty letters", strings.Repeat("x", 300)} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := access.Open(access.Options{Dir: t.TempDir(), Rules: access.Rules{ScrapeToken: file}}); err == nil || len(text) > 5 && strings.Contains(err.Error(), text) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, _, err := access.Open(access.Options{Dir: t.TempDir(), Rules: access.Rules{ScrapeToken: file + "x"}}); err == nil {
		t.Error("no such file")
	}
}

// A body of a pairing: whatever it is, no link beyond what was asked.
func TestPairBodies(t *testing.T) {
	h := newHouse(t)
	good := header("Authorization", "Bearer "+h.token)
	for body, status := range map[string]int{
		"": 201, "{}": 201, `{"role":"look"}`: 201, `{"role":"everything"}`: 422, `{"role":7}`: 400, `{"rule":"look"}`: 400,
		`{"role":"look"} {}`: 400, `[`: 400, `{"role":"` + strings.Repeat("x", 5000) + `"}`: 413,
	} {
		if w := h.ask("POST", "/api/v1/pair", body, good); w.Code != status {
			t.Errorf("%.40q: %d %s, want %d", body, w.Code, w.Body, status)
		} else if status != 201 {
			code(t, w)
		}
	}
	if w := h.ask("DELETE", "/api/v1/sessions/nobody", "", good); w.Code != 404 {
		t.Errorf("ends nobody's session: %d", w.Code)
	}
	if w := h.ask("DELETE", "/api/v1/sessions/nobody", ""); w.Code != 401 {
		t.Errorf("ends a session without a token: %d", w.Code)
	}
}

// others is a listener whose connections seem to come from where they say.
type others struct{ conns chan net.Conn }

func (l others) Accept() (net.Conn, error) {
	c, ok := <-l.conns
	if !ok {
		return nil, net.ErrClosed
	}
	return c, nil
}
func (l others) Close() error   { return nil }
func (l others) Addr() net.Addr { return &net.TCPAddr{} }

type seeming struct {
	net.Conn
	addr string
}

func (s seeming) RemoteAddr() net.Addr {
	return net.TCPAddrFromAddrPort(netip.MustParseAddrPort(s.addr))
}

// Somebody who opens connection after connection takes the place of nobody who is
// being answered, and never one that is kept for this machine.
func TestDoor(t *testing.T) {
	for name, answered := range map[string]bool{"while all are answered": true, "while all wait": false} {
		t.Run(name, func(t *testing.T) {
			l := others{make(chan net.Conn, 2000)}
			for range 1000 { // one address
				l.conns <- seeming{pipe(t), "192.0.2.7:4000"}
			}
			for n := range 700 { // many
				l.conns <- seeming{pipe(t), fmt.Sprintf("10.0.%d.%d:1", n/256, n%256)}
			}
			for range 100 { // ourselves
				l.conns <- seeming{pipe(t), "127.0.0.1:9"}
			}
			close(l.conns)
			d := access.NewDoor(l, access.Rules{})
			var in []net.Conn
			for c, err := d.Accept(); err == nil; c, err = d.Accept() {
				in = append(in, c)
				if answered {
					access.Answering(c, true)
				}
			}
			got, latest := map[string]int{}, map[string]bool{}
			for _, c := range in {
				_ = c.SetReadDeadline(time.Unix(1, 0))
				if _, err := c.Read(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) {
					continue // it had to give its place
				}
				host, _, _ := net.SplitHostPort(c.RemoteAddr().String())
				got[strings.SplitN(host, ".", 2)[0]]++
				latest[c.RemoteAddr().String()] = true
			}
			if all := got["192"] + got["10"] + got["127"]; all != 640 || got["192"] > 48 || got["127"] < 64 {
				t.Errorf("let in: %v", got)
			}
			if latest["10.0.2.187:1"] == answered || answered && got["192"] != 48 {
				t.Errorf("the last that came is in: %v; %v", !answered, got)
			}
			for _, c := range in {
				c.Close()
				c.Close() // counted once
			}
			if n := access.Places(d); n != 0 {
				t.Errorf("%d places are taken when all have gone", n)
			}
		})
	}
}

// A place is taken while a request is answered, and not before and after: half of a
// request keeps none.
func TestDoorWaiting(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h := newHouse(t)
	release := make(chan struct{})
	guarded, err := h.Guard(l.Addr().String(), http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/long" {
			<-release
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: guarded, ConnContext: access.Mark}
	go func() { _ = srv.Serve(access.NewDoor(l, access.Rules{})) }()
	defer srv.Close()
	send := func(text string) net.Conn {
		c, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		if _, err := c.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
		return c
	}
	long := send("GET /long HTTP/1.1\r\nHost: " + l.Addr().String() + "\r\n\r\n")
	answered := func(c net.Conn) error {
		_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
		res, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err == nil && res.StatusCode != http.StatusNoContent {
			err = errors.New(res.Status)
		}
		return err
	}
	whole := "GET / HTTP/1.1\r\nHost: " + l.Addr().String() + "\r\n\r\n"
	if err := answered(send(whole)); err != nil { // it is idle afterwards
		t.Fatal(err)
	}
	for n := range 1500 {
		send("POST /api/v1/stop HT")
		if n%100 == 99 {
			if err := answered(send(whole)); err != nil {
				t.Fatalf("behind %d halves of requests: %v", n, err)
			}
		}
	}
	close(release)
	if err := answered(long); err != nil {
		t.Errorf("what was being answered all the while: %v", err)
	}
}

func pipe(t *testing.T) net.Conn {
	a, b := net.Pipe()
	t.Cleanup(func() { a.Close(); b.Close() })
	return a
}
