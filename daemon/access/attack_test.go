package access_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/access"
	"abbed/daemon/api"
)

const listen = "127.0.0.1:8077"

// house is a guarded handler that counts what came through.
type house struct {
	*access.Access
	t       *testing.T
	handler http.Handler
	token   string
	clock   *hand
	through int
	visitor access.Visitor
}

func newHouse(t *testing.T) *house { return houseIn(t, t.TempDir()) }

func houseIn(t *testing.T, dir string) *house {
	t.Helper()
	h := &house{t: t, clock: newHand()}
	a, notices, err := access.Open(access.Options{Dir: dir, Now: h.clock.now})
	if err != nil || len(notices) > 0 {
		t.Fatal(notices, err)
	}
	b, err := os.ReadFile(filepath.Join(dir, "token"))
	if err != nil {
		t.Fatal(err)
	}
	h.Access, h.token = a, strings.TrimSpace(string(b))
	h.handler, err = a.Guard(listen, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.through++
		h.visitor = access.From(r.Context())
		w.WriteHeader(http.StatusNoContent)
	}))
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// ask sends a request from this machine; change alters it.
func (h *house) ask(method, path string, body string, change ...func(*http.Request)) *httptest.ResponseRecorder {
	h.t.Helper()
	r := httptest.NewRequest(method, "http://"+listen+path, strings.NewReader(body))
	r.RemoteAddr = "127.0.0.1:50000"
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	h.handler.ServeHTTP(w, r)
	return w
}

func header(name, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Add(name, value) }
}

func host(name string) func(*http.Request) { return func(r *http.Request) { r.Host = name } }

func from(addr string) func(*http.Request) { return func(r *http.Request) { r.RemoteAddr = addr } }

// code returns the code of a refusal.
func code(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	var b api.Refusal
	if err := json.Unmarshal(w.Body.Bytes(), &b); err != nil || b.Error == nil {
		t.Errorf("%d is no refusal: %q", w.Code, w.Body)
		return ""
	}
	if b.Error.Text == "" || b.Error.Hint == "" {
		t.Errorf("refusal %s says too little", w.Body)
	}
	if _, known := api.Codes[b.Error.Code]; !known {
		t.Errorf("code %q is not in api.Codes", b.Error.Code)
	}
	return b.Error.Code
}

// The table of attacks: what is tried, and what stops it.
func TestAttacks(t *testing.T) {
	h := newHouse(t)
	good := header("Authorization", "Bearer "+h.token)
	const stop, runs, gap = "/api/v1/stop", "/api/v1/runs", "/api/v1/runs/018f-a/gap"
	for name, try := range map[string]struct {
		method, path string
		change       []func(*http.Request)
		status       int
		code         string
	}{
		// DNS rebinding: the browser believes that evil.example is this machine.
		"rebinding reads":             {"GET", "/api/v1/printer", []func(*http.Request){host("evil.example:8077")}, 421, "wrong-host"},
		"rebinding stops":             {"POST", stop, []func(*http.Request){host("evil.example:8077"), header("Origin", "http://evil.example:8077"), header("Sec-Fetch-Site", "same-origin")}, 421, "wrong-host"},
		"rebinding with the token":    {"POST", runs, []func(*http.Request){host("evil.example:8077"), good}, 421, "wrong-host"},
		"rebinding to metrics":        {"GET", "/metrics", []func(*http.Request){host("evil.example")}, 421, "wrong-host"},
		"a name that ends like ours":  {"GET", "/", []func(*http.Request){host("evil-localhost:8077")}, 421, "wrong-host"},
		"a name that begins as ours":  {"GET", "/", []func(*http.Request){host("localhost.evil.example:8077")}, 421, "wrong-host"},
		"our name, another port":      {"GET", "/", []func(*http.Request){host("localhost:80")}, 421, "wrong-host"},
		"our name, no port":           {"GET", "/", []func(*http.Request){host("localhost")}, 421, "wrong-host"},
		"no host":                     {"GET", "/", []func(*http.Request){host("")}, 421, "wrong-host"},
		"user in host":                {"GET", "/", []func(*http.Request){host("x@127.0.0.1:8077")}, 421, "wrong-host"},
		"two ports":                   {"GET", "/", []func(*http.Request){host("127.0.0.1:8077:8077")}, 421, "wrong-host"},
		"host with a blank":           {"GET", "/", []func(*http.Request){host("127.0.0.1:8077 ")}, 421, "wrong-host"},
		"forwarded host":              {"POST", stop, []func(*http.Request){header("X-Forwarded-Host", "evil.example")}, 401, "unauthorized"},
		"decimal address":             {"GET", "/", []func(*http.Request){host("2130706433:8077")}, 421, "wrong-host"},
		"localhost in capitals":       {"GET", "/", []func(*http.Request){host("LOCALHOST:8077")}, 204, ""},
		"the other loopback":          {"GET", "/", []func(*http.Request){host("[::1]:8077")}, 204, ""},
		"localhost with a dot":        {"GET", "/", []func(*http.Request){host("localhost.:8077")}, 421, "wrong-host"},
		"the mapped loopback":         {"GET", "/", []func(*http.Request){host("[::ffff:127.0.0.1]:8077")}, 421, "wrong-host"},
		"the loopback with a zone":    {"GET", "/", []func(*http.Request){host("[::1%25lo]:8077")}, 421, "wrong-host"},
		"a port with a zero":          {"GET", "/", []func(*http.Request){host("127.0.0.1:08077")}, 421, "wrong-host"},
		"a port that is none":         {"GET", "/", []func(*http.Request){host("127.0.0.1:")}, 421, "wrong-host"},
		"brackets round a name":       {"GET", "/", []func(*http.Request){host("[localhost]:80")}, 421, "wrong-host"},
		"our name as a user":          {"GET", "/", []func(*http.Request){host("127.0.0.1:8077@evil.example:8077")}, 421, "wrong-host"},
		"our name within another":     {"GET", "/", []func(*http.Request){host("127.0.0.1.evil.example:8077")}, 421, "wrong-host"},
		"a picture on another site":   {"GET", "/api/v1/history", []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Sec-Fetch-Mode", "no-cors"), header("Sec-Fetch-Dest", "image")}, 403, "forbidden"},
		"a frame on another site":     {"GET", "/", []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Sec-Fetch-Mode", "navigate"), header("Sec-Fetch-Dest", "iframe")}, 403, "forbidden"},
		"another site's stream":       {"GET", runs + "/a/events", []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Sec-Fetch-Mode", "cors"), header("Sec-Fetch-Dest", "empty")}, 403, "forbidden"},
		"another port's script":       {"GET", runs, []func(*http.Request){header("Sec-Fetch-Site", "same-site"), header("Sec-Fetch-Mode", "cors"), header("Sec-Fetch-Dest", "empty"), header("Origin", "http://127.0.0.1:3000")}, 403, "forbidden"},
		"a link on another site":      {"GET", "/", []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Sec-Fetch-Mode", "navigate"), header("Sec-Fetch-Dest", "document")}, 204, ""},
		"our own stream":              {"GET", runs + "/a/events", []func(*http.Request){header("Sec-Fetch-Site", "same-origin"), header("Sec-Fetch-Mode", "cors"), header("Sec-Fetch-Dest", "empty")}, 204, ""},
		"an address that was typed":   {"GET", "/", []func(*http.Request){header("Sec-Fetch-Site", "none"), header("Sec-Fetch-Mode", "navigate"), header("Sec-Fetch-Dest", "document")}, 204, ""},
		"another site's stop form":    {"POST", "/do/stop", []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Origin", "http://evil.example")}, 403, "forbidden"},
		"a form without a session":    {"POST", "/do/run", nil, 401, "unauthorized"},
		"an undo without a session":   {"POST", "/do/undo", nil, 401, "unauthorized"},
		"a form of another site":      {"POST", stop, []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Origin", "http://evil.example"), header("Content-Type", "application/x-www-form-urlencoded")}, 403, "forbidden"},
		"a script of another site":    {"POST", gap, []func(*http.Request){header("Sec-Fetch-Site", "cross-site"), header("Content-Type", "text/plain")}, 403, "forbidden"},
		"another port of this host":   {"POST", stop, []func(*http.Request){header("Sec-Fetch-Site", "same-site"), header("Origin", "http://127.0.0.1:3000")}, 403, "forbidden"},
		"an old browser's form":       {"POST", stop, []func(*http.Request){header("Origin", "http://evil.example")}, 403, "forbidden"},
		"a sandboxed frame":           {"POST", stop, []func(*http.Request){header("Origin", "null")}, 403, "forbidden"},
		"cross-site with the token":   {"POST", runs, []func(*http.Request){good, header("Sec-Fetch-Site", "cross-site")}, 403, "forbidden"},
		"cross-site sign-in":          {"POST", "/in", []func(*http.Request){header("Sec-Fetch-Site", "cross-site")}, 403, "forbidden"},
		"a change without a token":    {"POST", runs, nil, 401, "unauthorized"},
		"a deletion without a token":  {"DELETE", runs, nil, 401, "unauthorized"},
		"an unknown method":           {"BREW", runs, nil, 401, "unauthorized"},
		"a method in a header":        {"GET", runs, []func(*http.Request){header("X-HTTP-Method-Override", "POST")}, 204, ""},
		"another method of stop":      {"PUT", stop, nil, 401, "unauthorized"},
		"stop with more path":         {"POST", stop + "/x", nil, 401, "unauthorized"},
		"stop in capitals":            {"POST", "/api/v1/STOP", nil, 401, "unauthorized"},
		"gap around the corner":       {"POST", "/api/v1/runs/..%2f..%2fprinter%2fopen/gap", nil, 401, "unauthorized"},
		"gap of no run":               {"POST", "/api/v1/runs//gap", nil, 307, ""},
		"gap with more path":          {"POST", "/api/v1/runs/a/b/gap", nil, 401, "unauthorized"},
		"gap in the query":            {"POST", "/api/v1/runs/a/confirm?/gap", nil, 401, "unauthorized"},
		"a wrong token reads":         {"GET", runs, []func(*http.Request){header("Authorization", "Bearer wrong")}, 401, "unauthorized"},
		"a wrong token stops":         {"POST", stop, []func(*http.Request){header("Authorization", "Bearer wrong")}, 401, "unauthorized"},
		"the token as a password":     {"POST", runs, []func(*http.Request){header("Authorization", "Basic "+h.token)}, 401, "unauthorized"},
		"no scheme":                   {"POST", runs, []func(*http.Request){header("Authorization", h.token)}, 401, "unauthorized"},
		"two tokens":                  {"POST", runs, []func(*http.Request){header("Authorization", "Bearer wrong"), good}, 401, "unauthorized"},
		"two tokens, ours first":      {"POST", runs, []func(*http.Request){good, header("Authorization", "Bearer wrong")}, 401, "unauthorized"},
		"part of the token":           {"POST", runs, []func(*http.Request){header("Authorization", "Bearer "+h.token[:42])}, 401, "unauthorized"},
		"the token and more":          {"POST", runs, []func(*http.Request){header("Authorization", "Bearer "+h.token+"A")}, 401, "unauthorized"},
		"an empty token":              {"POST", runs, []func(*http.Request){header("Authorization", "Bearer ")}, 401, "unauthorized"},
		"the token in the query":      {"POST", runs + "?token=" + h.token, nil, 401, "unauthorized"},
		"a made-up session":           {"POST", runs, []func(*http.Request){header("Cookie", "abbed_session=AAAA")}, 401, "unauthorized"},
		"reading from elsewhere":      {"GET", runs, []func(*http.Request){from("192.0.2.7:4000")}, 401, "unauthorized"},
		"stop from elsewhere":         {"POST", stop, []func(*http.Request){from("192.0.2.7:4000")}, 401, "unauthorized"},
		"elsewhere as loopback":       {"POST", stop, []func(*http.Request){from("192.0.2.7:4000"), header("X-Forwarded-For", "127.0.0.1")}, 401, "unauthorized"},
		"reading through a proxy":     {"GET", runs, []func(*http.Request){header("X-Forwarded-For", "192.0.2.7")}, 401, "unauthorized"},
		"a proxy that says Forwarded": {"POST", stop, []func(*http.Request){header("Forwarded", "for=192.0.2.7")}, 401, "unauthorized"},
		"an address that is none":     {"GET", runs, []func(*http.Request){from("@")}, 401, "unauthorized"},
		// What must work.
		"reading":                   {"GET", "/api/v1/printer", nil, 204, ""},
		"metrics":                   {"GET", "/metrics", nil, 204, ""},
		"a gap":                     {"POST", gap, nil, 204, ""},
		"stop":                      {"POST", stop, nil, 204, ""},
		"stop by the page's form":   {"POST", "/do/stop", nil, 204, ""},
		"stop from the page":        {"POST", stop, []func(*http.Request){header("Sec-Fetch-Site", "same-origin"), header("Origin", "http://"+listen)}, 204, ""},
		"the token":                 {"POST", runs, []func(*http.Request){good}, 204, ""},
		"the token, small scheme":   {"POST", runs, []func(*http.Request){header("Authorization", "bearer "+h.token)}, 204, ""},
		"the token signs off":       {"POST", "/api/v1/tables/abc/signoff", []func(*http.Request){good}, 204, ""},
		"the token through a proxy": {"POST", runs, []func(*http.Request){good, header("Via", "1.1 proxy")}, 204, ""},
	} {
		t.Run(name, func(t *testing.T) {
			h.clock.add(time.Hour) // each has all its tries
			before := h.through
			w := h.ask(try.method, try.path, "", try.change...)
			if w.Code != try.status {
				t.Fatalf("%d %s, want %d", w.Code, w.Body, try.status)
			}
			if came := h.through > before; came != (try.status == 204) {
				t.Errorf("reached the handler: %v", came)
			}
			if try.code != "" {
				if got := code(t, w); got != try.code {
					t.Errorf("code %q, want %q", got, try.code)
				}
			}
			if strings.Contains(w.Body.String(), h.token) {
				t.Error("the answer shows the token")
			}
			if w.Header().Get("Content-Security-Policy") == "" || w.Header().Get("X-Content-Type-Options") != "nosniff" {
				t.Error("the answer lacks the security headers")
			}
		})
	}
}

// The headers, as they must be: traps 13 and 16 of design/7, and nothing inline.
func TestHeaders(t *testing.T) {
	w := newHouse(t).ask("GET", "/", "")
	csp := w.Header().Get("Content-Security-Policy")
	for _, must := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
		if !strings.Contains(csp, must) {
			t.Errorf("policy %q lacks %q", csp, must)
		}
	}
	for _, never := range []string{"unsafe", "*", "http:", "https:"} {
		if strings.Contains(csp, never) {
			t.Errorf("policy %q has %q", csp, never)
		}
	}
	if got := w.Header().Get("Referrer-Policy"); got != "same-origin" {
		t.Errorf("Referrer-Policy %q", got)
	}
	if got := w.Header().Get("Cross-Origin-Opener-Policy"); got != "" {
		t.Errorf("Cross-Origin-Opener-Policy %q", got)
	}
}

// Guessing: ten wrong tries, then one each three seconds; a right token passes
// all the while, and another address has its own tries.
func TestGuessing(t *testing.T) {
	h := newHouse(t)
	guess := func(n int, change ...func(*http.Request)) int {
		return h.ask("POST", "/api/v1/runs", "", append(change, header("Authorization", fmt.Sprintf("Bearer guess%d", n)))...).Code
	}
	for n := range 10 {
		if got := guess(n); got != 401 {
			t.Fatalf("guess %d: %d", n, got)
		}
	}
	w := h.ask("POST", "/api/v1/runs", "", header("Authorization", "Bearer guess"))
	if w.Code != 429 || code(t, w) != "too-many" || w.Header().Get("Retry-After") != "3" {
		t.Errorf("guess 11: %d %s, Retry-After %q", w.Code, w.Body, w.Header().Get("Retry-After"))
	}
	if got := guess(1, from("127.0.0.9:1")); got != 401 {
		t.Errorf("another address: %d", got)
	}
	if w := h.ask("POST", "/api/v1/runs", "", header("Authorization", "Bearer "+h.token)); w.Code != 204 {
		t.Errorf("the operator is locked out: %d", w.Code)
	}
	if w := h.ask("POST", "/api/v1/stop", ""); w.Code != 204 {
		t.Errorf("stop is locked: %d", w.Code)
	}
	h.clock.add(3 * time.Second)
	if got := guess(12); got != 401 {
		t.Errorf("after 3 s: %d", got)
	}
	if got := guess(13); got != 429 {
		t.Errorf("one more: %d", got)
	}
	for n := range 5000 { // many addresses do not fill the memory
		guess(n, from(fmt.Sprintf("10.0.%d.%d:1", n/256, n%256)))
	}
	if got := guess(14); got == 204 {
		t.Error("let in")
	}
}

// A person sees a page, and what was sent is not in it as markup.
func TestRefusalForPeople(t *testing.T) {
	h := newHouse(t)
	w := h.ask("POST", "/<script>", "", header("Accept", "text/html,*/*"))
	body, _ := io.ReadAll(w.Result().Body)
	if w.Code != 401 || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") || strings.Contains(string(body), "<script") {
		t.Errorf("%d %s", w.Code, body)
	}
	w = h.ask("GET", "/in/%22%3E%3Cscript%3E", "")
	if strings.Contains(w.Body.String(), "<script") {
		t.Errorf("the link's page shows markup: %s", w.Body)
	}
}

// Over a real connection: what the server itself makes of odd requests.
func TestOverTheWire(t *testing.T) {
	h := newHouse(t)
	srv := httptest.NewUnstartedServer(nil)
	guarded, err := h.Guard(srv.Listener.Addr().String(), http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(204) }))
	if err != nil {
		t.Fatal(err)
	}
	srv.Config.Handler = guarded
	srv.Start()
	defer srv.Close()
	resp, err := http.Get(srv.URL + "/api/v1/printer")
	if err != nil || resp.StatusCode != 204 {
		t.Fatalf("%v %v", resp, err)
	}
	resp.Body.Close()
	req, _ := http.NewRequest("GET", srv.URL, nil)
	req.Host = "evil.example"
	resp, err = http.DefaultClient.Do(req)
	if err != nil || resp.StatusCode != 421 {
		t.Fatalf("%v %v", resp, err)
	}
	resp.Body.Close()
}
