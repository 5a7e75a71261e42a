package access_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"abbed/daemon/access"
)

// FuzzGuard sends whatever request: without the token nothing reaches the
// handler but reading, a gap and a stop, from this machine, under our own name,
// and from no other origin.
func FuzzGuard(f *testing.F) {
	dir := f.TempDir()
	a, _, err := access.Open(access.Options{Dir: dir})
	if err != nil {
		f.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(dir, "token"))
	if err != nil {
		f.Fatal(err)
	}
	token := strings.TrimSpace(string(b))
	names := []string{listen, "localhost:8077", "[::1]:8077"}
	guarded, err := a.Guard(listen, http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		reading := slices.Contains([]string{"GET", "HEAD", "OPTIONS"}, r.Method)
		open := r.Method == "POST" && (r.URL.Path == "/api/v1/stop" || r.URL.Path == "/do/stop" || strings.HasSuffix(r.URL.Path, "/gap"))
		switch {
		case access.Who(r) != "" || r.Header.Get("Authorization") != "":
			panic("let in: " + access.Who(r))
		case !reading && !open:
			panic("a change without a token: " + r.Method + " " + r.URL.Path)
		case !strings.HasPrefix(r.RemoteAddr, "127.0.0.1:"):
			panic("from " + r.RemoteAddr)
		case !slices.Contains(names, strings.ToLower(r.Host)):
			panic("as " + r.Host)
		case !reading && r.Header.Get("Sec-Fetch-Site") != "" && r.Header.Get("Sec-Fetch-Site") != "same-origin" && r.Header.Get("Sec-Fetch-Site") != "none":
			panic("by " + r.Header.Get("Sec-Fetch-Site"))
		}
	}))
	if err != nil {
		f.Fatal(err)
	}
	f.Add("POST", "/api/v1/runs/a/gap", listen, "127.0.0.1:5", "", "", "same-origin")
	f.Add("POST", "/api/v1/stop", "evil.example:8077", "127.0.0.1:5", "", "", "")
	f.Add("PUT", "/do/stop", "LOCALHOST:8077", "192.0.2.1:5", "Bearer x", "abbed_session=x", "cross-site")
	f.Add("POST", "//api/v1/../v1/stop", "[::1]:8077", "@", "bearer", "a=b; abbed_session=", "none")
	f.Fuzz(func(t *testing.T, method, path, host, remote, auth, cookie, site string) {
		if strings.Contains(auth, token) {
			return
		}
		r := &http.Request{
			Method: method, URL: &url.URL{Path: path}, Host: host, RemoteAddr: remote,
			Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1, Header: http.Header{}, Body: http.NoBody,
		}
		for name, value := range map[string]string{"Authorization": auth, "Cookie": cookie, "Sec-Fetch-Site": site} {
			if value != "" {
				r.Header.Set(name, value)
			}
		}
		w := httptest.NewRecorder()
		guarded.ServeHTTP(w, r)
		if w.Header().Get("Content-Security-Policy") == "" {
			t.Error("an answer without the policy")
		}
	})
}
