package access_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/access"
)

// enter follows a one-time link like a browser and returns its cookie.
func (h *house) enter(link string) (*http.Cookie, *httptest.ResponseRecorder) {
	h.t.Helper()
	u, err := url.Parse(link)
	if err != nil {
		h.t.Fatal(err)
	}
	page := h.ask("GET", u.Path, "")
	if page.Code != 200 || !strings.Contains(page.Body.String(), `action="/in"`) {
		h.t.Fatalf("the link shows %d %s", page.Code, page.Body)
	}
	if page.Header().Get("Cache-Control") != "no-store" {
		h.t.Error("the link's page may be cached")
	}
	form := url.Values{"code": {strings.TrimPrefix(u.Path, "/in/")}}
	w := h.ask("POST", "/in", form.Encode(), header("Content-Type", "application/x-www-form-urlencoded"), header("Sec-Fetch-Site", "same-origin"))
	cookies := w.Result().Cookies()
	if len(cookies) == 0 {
		return nil, w
	}
	return cookies[0], w
}

func TestLink(t *testing.T) {
	dir := t.TempDir()
	h := houseIn(t, dir)
	link, expires := h.Link("http://"+listen, access.Everything)
	if expires.Sub(h.clock.now()) != 15*time.Minute {
		t.Errorf("good until %v", expires)
	}
	c, w := h.enter(link)
	if c == nil || w.Code != 303 || w.Header().Get("Location") != "/" {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || len(c.Value) < 43 {
		t.Errorf("cookie %v", c)
	}
	if again, w := h.enter(link); again != nil || w.Code != 401 {
		t.Errorf("the link works twice: %d", w.Code)
	}
	session := header("Cookie", c.Name+"="+c.Value)
	if w := h.ask("POST", "/api/v1/runs", "", session); w.Code != 204 || !strings.HasPrefix(h.visitor.Name, "browser ") || h.visitor.Role != access.Everything {
		t.Errorf("%d as %+v", w.Code, h.visitor)
	}
	if w := h.ask("POST", "/api/v1/runs", "", session, header("Sec-Fetch-Site", "cross-site")); w.Code != 403 {
		t.Errorf("a session used by another site: %d", w.Code)
	}
	for _, name := range []string{"token", "sessions.json"} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", name, info.Mode(), err)
		}
	}
	kept, err := os.ReadFile(filepath.Join(dir, "sessions.json"))
	if err != nil || bytes.Contains(kept, []byte(c.Value)) {
		t.Errorf("the cookie itself is kept: %s %v", kept, err)
	}

	// A restart keeps the session, revoking ends it, also for the next start.
	h2 := houseIn(t, dir)
	if w := h2.ask("POST", "/api/v1/runs", "", session); w.Code != 204 {
		t.Errorf("after a restart: %d", w.Code)
	}
	list := h2.Sessions()
	if len(list) != 1 || list[0].Hash != "" {
		t.Fatalf("sessions %+v", list)
	}
	if ok, err := h2.Revoke(list[0].ID); !ok || err != nil {
		t.Fatal(ok, err)
	}
	for _, x := range []*house{h2, houseIn(t, dir)} {
		if w := x.ask("POST", "/api/v1/runs", "", session); w.Code != 401 {
			t.Errorf("revoked: %d", w.Code)
		}
	}
	if w := h2.ask("GET", "/", "", session); w.Code != 204 {
		t.Errorf("reading with a cookie that is no session any more: %d", w.Code)
	}
}

// TestRevokedWhileOpen: an event stream goes on for hours. It ends with its
// session: revoked, signed out, or pushed out by newer ones; other sessions' go on.
// What was asked for and is being done is finished.
func TestRevokedWhileOpen(t *testing.T) {
	for name, end := range map[string]func(t *testing.T, h *house, id string, cookie func(*http.Request)){
		"revoked": func(t *testing.T, h *house, id string, _ func(*http.Request)) {
			if ok, err := h.Revoke(id); !ok || err != nil {
				t.Error(ok, err)
			}
		},
		"signed out": func(_ *testing.T, h *house, _ string, cookie func(*http.Request)) {
			h.ask("POST", "/out", "", cookie)
		},
		"pushed out": func(t *testing.T, h *house, _ string, _ func(*http.Request)) {
			for range 64 {
				h.clock.add(time.Second)
				link, _ := h.Link("http://"+listen, access.Look)
				h.enter(link)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			h := houseIn(t, t.TempDir())
			begun, ended := make(chan string), make(chan string, 3)
			inner := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				begun <- r.URL.Path
				select {
				case <-r.Context().Done():
					ended <- r.URL.Path
				case <-t.Context().Done():
				}
			})
			slow, err := h.Guard(listen, inner)
			if err != nil {
				t.Fatal(err)
			}
			open := func(method, path string, c *http.Cookie) {
				r := httptest.NewRequest(method, "http://"+listen+path, nil)
				r.RemoteAddr = "127.0.0.1:50000"
				r.AddCookie(c)
				go slow.ServeHTTP(httptest.NewRecorder(), r)
				<-begun
			}
			link, _ := h.Link("http://"+listen, access.Everything)
			lost, _ := h.enter(link)
			id := h.Sessions()[0].ID
			h.clock.add(time.Hour)
			link, _ = h.Link("http://"+listen, access.Everything)
			stays, _ := h.enter(link)
			open("GET", "/api/v1/runs/a/events", lost)
			open("POST", "/api/v1/runs/a/gauge", lost)
			if name != "pushed out" { // that pushes both
				open("GET", "/api/v1/runs/b/events", stays)
			}
			end(t, h, id, header("Cookie", lost.Name+"="+lost.Value))
			if got := <-ended; got != "/api/v1/runs/a/events" {
				t.Errorf("ended: %s", got)
			}
			if len(ended) > 0 {
				t.Errorf("ended, too: %s", <-ended)
			}
		})
	}
}

// TestFixedCookie: a browser that comes with a session's name made up by somebody
// else gets another one, and the made-up one opens nothing.
func TestFixedCookie(t *testing.T) {
	h := newHouse(t)
	name, _, _ := strings.Cut(access.CookieOf(h.Access), "=")
	const planted = "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
	link, _ := h.Link("http://"+listen, access.Everything)
	code := link[strings.LastIndexByte(link, '/')+1:]
	w := h.ask("POST", "/in", url.Values{"code": {code}}.Encode(), header("Content-Type", "application/x-www-form-urlencoded"), header("Cookie", name+"="+planted))
	got := w.Result().Cookies()
	if w.Code != 303 || len(got) != 1 || got[0].Value == planted {
		t.Fatalf("%d %v", w.Code, got)
	}
	if w := h.ask("POST", "/api/v1/runs", "", header("Cookie", name+"="+planted)); w.Code != 401 {
		t.Errorf("the planted cookie: %d", w.Code)
	}
	// Three planted beside the own one do not shut the browser out; a hundred cost
	// no more looks than four.
	own := name + "=" + got[0].Value
	if w := h.ask("POST", "/api/v1/runs", "", header("Cookie", strings.Repeat(name+"="+planted+"; ", 3)+own)); w.Code != 204 {
		t.Errorf("beside three planted ones: %d", w.Code)
	}
	if w := h.ask("POST", "/api/v1/runs", "", header("Cookie", strings.Repeat(name+"="+planted+"; ", 100)+own)); w.Code != 401 {
		t.Errorf("behind a hundred planted ones: %d", w.Code)
	}
}

// TestSeveralPrinters: a browser that several printers of one machine let in stays let in
// by all of them: it sends the cookies of one host to each of its ports.
func TestSeveralPrinters(t *testing.T) {
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	at := &url.URL{Scheme: "http", Host: listen, Path: "/"}
	var room []*house
	for range 5 {
		h := newHouse(t)
		link, _ := h.Link("http://"+listen, access.Everything)
		_, w := h.enter(link)
		jar.SetCookies(at, w.Result().Cookies())
		room = append(room, h)
	}
	for i, h := range room {
		w := h.ask("POST", "/api/v1/runs", "", func(r *http.Request) {
			for _, c := range jar.Cookies(at) {
				r.AddCookie(c)
			}
		})
		if w.Code != http.StatusNoContent {
			t.Errorf("printer %d: %d after the others were paired: want it to know the browser", i, w.Code)
		}
	}
}

func TestLinkGoesStale(t *testing.T) {
	h := newHouse(t)
	old, _ := h.Link("http://"+listen, access.Everything)
	h.clock.add(15 * time.Minute)
	if c, w := h.enter(old); c != nil || w.Code != 401 {
		t.Errorf("after 15 min: %d", w.Code)
	}
	first, _ := h.Link("http://"+listen, access.Everything)
	for range 16 {
		h.Link("http://"+listen, access.Everything)
	}
	if c, _ := h.enter(first); c != nil {
		t.Error("the first of 17 links still works")
	}
	if w := h.ask("POST", "/in", strings.Repeat("x", 1<<20), header("Content-Type", "application/x-www-form-urlencoded")); w.Code != 401 {
		t.Errorf("a huge form: %d", w.Code)
	}
}

func TestSessionEnds(t *testing.T) {
	h := newHouse(t)
	link, _ := h.Link("http://"+listen, access.Everything)
	c, _ := h.enter(link)
	session := header("Cookie", c.Name+"="+c.Value)
	for range 5 { // use keeps it alive
		h.clock.add(80 * 24 * time.Hour)
		if w := h.ask("POST", "/api/v1/runs", "", session); w.Code != 204 {
			t.Fatalf("used every 80 days: %d", w.Code)
		}
	}
	if w := h.ask("POST", "/out", "", session); w.Code != 303 || w.Result().Cookies()[0].MaxAge >= 0 {
		t.Errorf("sign out: %d %v", w.Code, w.Result().Cookies())
	}
	if w := h.ask("POST", "/api/v1/runs", "", session); w.Code != 401 {
		t.Errorf("signed out: %d", w.Code)
	}
	link, _ = h.Link("http://"+listen, access.Everything)
	c, _ = h.enter(link)
	h.clock.add(90 * 24 * time.Hour)
	if w := h.ask("POST", "/api/v1/runs", "", header("Cookie", c.Name+"="+c.Value)); w.Code != 401 {
		t.Errorf("unused for 90 days: %d", w.Code)
	}
}

// A session does only what its role allows.
func TestRoles(t *testing.T) {
	h := newHouse(t)
	for name, try := range map[string]struct {
		role   access.Role
		path   string
		status int
	}{
		"look runs":                        {access.Look, "/api/v1/runs", 403},
		"operate runs":                     {access.Look | access.Operate, "/api/v1/runs", 204},
		"operate signs":                    {access.Look | access.Operate, "/api/v1/tables/abc/signoff", 403},
		"operate undoes":                   {access.Look | access.Operate, "/api/v1/applied/undo", 403},
		"operate pairs":                    {access.Look | access.Operate, "/api/v1/pair", 403},
		"all sign":                         {access.Everything, "/api/v1/tables/abc/signoff", 204},
		"all pair":                         {access.Everything, "/api/v1/pair", 201},
		"operate runs by form":             {access.Look | access.Operate, "/do/run/018f/gauge", 204},
		"operate starts by form":           {access.Look | access.Operate, "/do/run", 204},
		"operate opens":                    {access.Look | access.Operate, "/api/v1/printer/open", 204},
		"operate signs by form":            {access.Look | access.Operate, "/do/run/018f/signoff", 403},
		"operate applies by form":          {access.Look | access.Operate, "/do/apply/d", 403},
		"operate undoes by form":           {access.Look | access.Operate, "/do/undo", 403},
		"operate does what nobody listed":  {access.Look | access.Operate, "/do/something", 403},
		"operate does a run's neighbour":   {access.Look | access.Operate, "/do/runaway", 403},
		"operate does the API's neighbour": {access.Look | access.Operate, "/api/v1/runsx", 403},
		"look stops (loopback)":            {access.Look, "/api/v1/stop", 204},
	} {
		link, _ := h.Link("http://"+listen, try.role)
		c, _ := h.enter(link)
		w := h.ask("POST", try.path, "", header("Cookie", c.Name+"="+c.Value))
		if w.Code != try.status {
			t.Errorf("%s: %d %s, want %d", name, w.Code, w.Body, try.status)
		}
		if w.Code == 403 && code(t, w) != "forbidden" {
			t.Errorf("%s: %s", name, w.Body)
		}
	}
}

// abbed access pair: the operator's token gives a link, and the link works.
func TestPair(t *testing.T) {
	h := newHouse(t)
	if w := h.ask("POST", "/api/v1/pair", ""); w.Code != 401 {
		t.Errorf("without a token: %d", w.Code)
	}
	w := h.ask("POST", "/api/v1/pair", "", header("Authorization", "Bearer "+h.token))
	var p access.Paired
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || w.Code != 201 || w.Header().Get("Cache-Control") != "no-store" {
		t.Fatalf("%d %s %v", w.Code, w.Body, err)
	}
	if c, w := h.enter(p.URL); c == nil {
		t.Errorf("the link gives %d %s", w.Code, w.Body)
	}
}
