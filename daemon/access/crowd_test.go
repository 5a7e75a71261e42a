package access_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"abbed/daemon/access"
)

// TestCrowd: event streams are bounded by session and for all whom nobody knows; who
// comes too late is told when to come again. Stop, health and the operator are not
// counted.
func TestCrowd(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		h := houseIn(t, dir)
		leave := make(chan struct{})
		guarded, err := h.Guard(listen, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.Header.Get("X-Long") != "" {
				<-leave
			}
			w.WriteHeader(http.StatusNoContent)
		}))
		if err != nil {
			t.Fatal(err)
		}
		var own sync.WaitGroup
		send := func(method, path string, change ...func(*http.Request)) *httptest.ResponseRecorder {
			r := httptest.NewRequest(method, "http://"+listen+path, nil)
			r.RemoteAddr = "127.0.0.1:50000"
			for _, c := range change {
				c(r)
			}
			w := httptest.NewRecorder()
			guarded.ServeHTTP(w, r)
			return w
		}
		hold := func(n int, path string, change ...func(*http.Request)) {
			for range n {
				own.Go(func() { send("GET", path, append(change, header("X-Long", "yes"))...) })
			}
			synctest.Wait()
		}
		const stream = "/api/v1/runs/a/events"
		token := header("Authorization", "Bearer "+h.token)
		browser := header("Cookie", access.CookieOf(h.Access))
		hold(300, stream)
		hold(20, stream, browser)
		hold(400, "/")
		for name, c := range map[string]struct {
			method, path string
			change       []func(*http.Request)
			status       int
			after        string
		}{
			"a stream more":               {"GET", stream, nil, 503, "5"},
			"a stream more of a browser":  {"GET", stream, []func(*http.Request){browser}, 503, "5"},
			"a stream of the operator":    {"GET", stream, []func(*http.Request){token}, 204, ""},
			"a screen more":               {"GET", "/", nil, 503, "1"},
			"a screen of a browser":       {"GET", "/", []func(*http.Request){browser}, 204, ""},
			"a screen of the operator":    {"GET", "/", []func(*http.Request){token}, 204, ""},
			"a stop":                      {"POST", "/api/v1/stop", nil, 204, ""},
			"a stop of the page":          {"POST", "/do/stop", nil, 204, ""},
			"a look at the health":        {"GET", "/healthz", nil, 204, ""},
			"a run that the operator has": {"POST", "/api/v1/runs", []func(*http.Request){token}, 204, ""},
		} {
			w := send(c.method, c.path, c.change...)
			if w.Code != c.status || w.Header().Get("Retry-After") != c.after {
				t.Errorf("%s: %d %s, Retry-After %q", name, w.Code, w.Body, w.Header().Get("Retry-After"))
			}
			if c.status == 503 && code(t, w) != "too-many" {
				t.Errorf("%s: %s", name, w.Body)
			}
		}
		close(leave)
		own.Wait()
		for _, path := range []string{stream, "/"} {
			if w := send("GET", path); w.Code != 204 {
				t.Errorf("after all have left: %s: %d %s", path, w.Code, w.Body)
			}
		}
	})
}

// TestTurns: what is asked by nobody known is worked on a few at a time; who waits
// comes in when one is done, and who has gone away waits no more.
func TestTurns(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		h := houseIn(t, dir)
		var mu sync.Mutex
		now, most := 0, 0
		guarded, err := h.Guard(listen, http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
			mu.Lock()
			now++
			most = max(most, now)
			mu.Unlock()
			time.Sleep(100 * time.Millisecond)
			mu.Lock()
			now--
			mu.Unlock()
		}))
		if err != nil {
			t.Fatal(err)
		}
		var own sync.WaitGroup
		began := time.Now()
		for n := range 300 {
			own.Go(func() {
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				if n%3 == 0 {
					cancel()
				}
				r := httptest.NewRequestWithContext(ctx, "GET", "http://"+listen+"/", nil)
				r.RemoteAddr = "127.0.0.1:50000"
				w := httptest.NewRecorder()
				guarded.ServeHTTP(w, r)
				if w.Code != 200 && n%3 != 0 {
					t.Errorf("%d %s", w.Code, w.Body)
				}
			})
		}
		own.Wait()
		if most > 32 || time.Since(began) > time.Second {
			t.Errorf("%d at a time, done after %v", most, time.Since(began))
		}
	})
}

// TestStopWithoutDisk: a browser's stop request does not wait for a disk that does not
// answer, though the use of its session is to be written down, or another's is.
func TestStopWithoutDisk(t *testing.T) {
	h := newHouse(t)
	browser := header("Cookie", access.CookieOf(h.Access))
	release := access.HoldDisk(h.Access)
	h.clock.add(48 * time.Hour)
	for range 2 {
		if w := h.ask("POST", "/api/v1/stop", "", browser); w.Code != http.StatusNoContent || h.visitor.Session == "" {
			t.Errorf("%d %s, %+v", w.Code, w.Body, h.visitor)
		}
	}
	release()
}
