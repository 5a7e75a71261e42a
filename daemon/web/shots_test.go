package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/web"
	"abbed/daemon/web/page"
	"abbed/daemon/web/webtest"
)

// shot is a screen that a person meets: a path of a scene, or with a form what
// that is answered with.
type shot struct {
	scene, path string
	form        url.Values
}

func (s shot) String() string {
	if s.form != nil {
		return s.scene + s.path + " " + s.form.Encode()
	}
	return s.scene + s.path
}

// shots are all screens in all their states.
var shots = []shot{
	{scene: "unopened", path: "/"}, {scene: "connecting", path: "/"}, {scene: "taken", path: "/"}, {scene: "ready", path: "/"}, {scene: "owed", path: "/"},
	{scene: "gauge", path: "/"}, {scene: "room", path: "/"}, {scene: "hostile", path: "/"},
	{scene: "confirm", path: "/run/r1"}, {scene: "proving", path: "/run/p1"}, {scene: "proof-over", path: "/run/p1"}, {scene: "proof-over", path: "/applied"}, {scene: "homing", path: "/run/r1"}, {scene: "warming", path: "/run/r1"}, {scene: "repeat", path: "/run/r1"},
	{scene: "moving", path: "/run/r1"}, {scene: "gauge", path: "/run/r1"}, {scene: "first", path: "/run/r1"}, {scene: "detour", path: "/run/r1"}, {scene: "rows", path: "/run/r1"}, {scene: "next", path: "/run/r1"}, {scene: "prompt", path: "/run/r1"},
	{scene: "value", path: "/run/r1"}, {scene: "survey", path: "/run/r1"}, {scene: "done", path: "/run/r1"}, {scene: "stopped", path: "/run/r0"}, {scene: "failed", path: "/run/r0"},
	{scene: "done", path: "/run/r1/results"}, {scene: "worn", path: "/run/r1/results"}, {scene: "healthy", path: "/run/r1/results"}, {scene: "undetermined", path: "/run/r1/results"},
	{scene: "later", path: "/run/r1/results"}, {scene: "later", path: "/run/r2/results"}, {scene: "later", path: "/run/r2"}, {scene: "later", path: "/run/r4"}, {scene: "later", path: "/runs"},
	{scene: "no-analysis", path: "/run/r1/results"}, {scene: "hostile", path: "/run/r1/results"},
	{scene: "done", path: "/run/r1/review"}, {scene: "worn", path: "/run/r1/review"},
	{scene: "done", path: "/run/r1/signoff", form: url.Values{"digest": {webtest.Digest}, "person": {"Ida"}}}, {scene: "done", path: "/run/r1/signoff", form: url.Values{}},
	{scene: "ready", path: "/applied"}, {scene: "writing", path: "/applied"}, {scene: "kept", path: "/applied"}, {scene: "proved", path: "/applied"}, {scene: "expired", path: "/applied"}, {scene: "tilts-otherwise", path: "/applied"},
	{scene: "put-back", path: "/applied"}, {scene: "unfinished", path: "/applied"}, {scene: "undone", path: "/applied"}, {scene: "kept", path: "/undo", form: url.Values{}},
	{scene: "done", path: "/run/r1/tools"}, {scene: "worn", path: "/run/r1/tools"}, {scene: "no-analysis", path: "/run/r1/tools"},
	{scene: "done", path: "/run/r1/thickness", form: url.Values{"a1": {"0.204"}, "b1": {"0.206"}, "a2": {"0.299"}, "gaps3": {"yes"}, "plan": {"0badcafe"}, "in_force": {"none"}, "person": {"Ida"}}},
	{scene: "done", path: "/run/r1/report"}, {scene: "worn", path: "/run/r1/report"},
	{scene: "done", path: "/runs"}, {scene: "ready", path: "/runs"}, {scene: "done", path: "/run/r1/since/r0"},
	{scene: "done", path: "/run/r1/elsewhere?x=0&y=40"}, {scene: "done", path: "/run/r1/elsewhere?x=0"},
	{scene: "ready", path: "/printer"}, {scene: "ready", path: "/room"}, {scene: "room", path: "/room"},
	{scene: "ready", path: "/stop", form: url.Values{}}, {scene: "ready", path: "/nothing"},
	{scene: "ready", path: "/printer"}, {scene: "ready", path: "/pair", form: url.Values{"role": {"sign"}}}, {scene: "door", path: "/in"}, {scene: "door", path: "/in/CODE"}, {scene: "door", path: "/shut"},
}

// serve serves a shot at its path, with all that it needs.
func (s shot) serve(t *testing.T, mode func(http.Handler) http.Handler) (address string, end func()) {
	t.Helper()
	h := s.handler(t)
	if mode != nil {
		h = mode(h)
	}
	server := httptest.NewServer(h)
	return server.URL + s.path, func() { server.CloseClientConnections(); server.Close() }
}

// handler answers the path by the form, where there is one.
func (s shot) handler(t *testing.T) http.Handler {
	if s.scene == "door" {
		return door()
	}
	h := handler(webtest.Scene(s.scene))
	if s.path == "/printer" || strings.HasPrefix(s.path, "/pair") {
		h = letIn(t, s.scene)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s.form != nil && r.URL.Path == s.path {
			r = httptest.NewRequestWithContext(r.Context(), http.MethodPost, "/do"+s.path, strings.NewReader(s.form.Encode()))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
		h.ServeHTTP(w, r)
	})
}

// door is what stands before the page.
func door() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/static/", handler(webtest.Scene("ready")))
	mux.HandleFunc("/in", func(w http.ResponseWriter, r *http.Request) { page.Enter(w, r, access.Entrance{Action: "/in"}) })
	mux.HandleFunc("/in/CODE", func(w http.ResponseWriter, r *http.Request) {
		page.Enter(w, r, access.Entrance{Action: "/in", Code: "CODE"})
	})
	mux.HandleFunc("/shut", func(w http.ResponseWriter, r *http.Request) {
		page.Shut(w, r, api.Errorf(http.StatusUnauthorized, "unauthorized", "type the code that abbed access pair shows", "this browser is not signed in"))
	})
	return mux
}

// letIn is the page of who may do everything, behind the real guard.
func letIn(t *testing.T, scene string) http.Handler {
	const address = "127.0.0.1:8077"
	a, _, err := access.Open(access.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	h, err := a.Guard(address, web.New(webtest.Scene(scene), web.Options{Options: page.Options{Who: access.Who, Doors: a}}))
	if err != nil {
		t.Fatal(err)
	}
	token, err := os.ReadFile(a.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Host = address
		for _, name := range []string{"Origin", "Sec-Fetch-Site", "Accept-Encoding"} {
			r.Header.Del(name)
		}
		r.Header.Set("Authorization", "Bearer "+strings.TrimSpace(string(token)))
		h.ServeHTTP(w, r)
	})
}

// go shows a shot in the browser; leave leaves it.
func (s shot) open(t *testing.T, ctx context.Context, mode func(http.Handler) http.Handler) (leave func()) {
	t.Helper()
	address, end := s.serve(t, mode)
	// A refusal's own status is no failure here.
	if err := chromedp.Do(ctx, chromedp.Navigate(address)); err != nil && !strings.Contains(err.Error(), "HTTP") && !strings.Contains(err.Error(), "40") && !strings.Contains(err.Error(), "42") {
		t.Fatalf("%v: %v", s, err)
	}
	return func() {
		_ = chromedp.Do(ctx, chromedp.Navigate("about:blank")) // leaves the event stream
		end()
	}
}

// No screen shows what is no number, or a word that was not filled in.
func TestNothingUnfilled(t *testing.T) {
	bad := regexp.MustCompile(`%!|NaN|[+-]Inf\b|0xc0|0x1[0-9a-f]{8}|<nil>|&lt;nil&gt;|<no value>`)
	for _, shot := range shots {
		w := httptest.NewRecorder()
		shot.handler(t).ServeHTTP(w, httptest.NewRequest("GET", shot.path, nil))
		for _, m := range bad.FindAllStringIndex(w.Body.String(), -1) {
			t.Errorf("%v: %.80s", shot, w.Body.String()[max(0, m[0]-40):])
		}
	}
}
