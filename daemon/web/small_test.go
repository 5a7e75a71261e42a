package web_test

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"abbed/daemon/web/webtest"
)

// What is read comes compressed to whoever takes it, the same as without, and
// says so to whoever keeps it (RFC 9110 12.5.3, 12.5.5); what holds a secret,
// and what must come at once, never does.
func TestCompressed(t *testing.T) {
	s := httptest.NewServer(handler(webtest.Scene("done")))
	t.Cleanup(s.Close)
	c := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	t.Cleanup(c.CloseIdleConnections)
	fetch := func(method, path, takes string, form url.Values) (*http.Response, []byte) {
		r, err := http.NewRequestWithContext(t.Context(), method, s.URL+path, strings.NewReader(form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Accept-Encoding", takes)
		if form != nil {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
		res, err := c.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res, b
	}
	for _, path := range []string{"/run/r1/results", "/api/v1/runs/r1/record", "/static/abbed.css", "/run/r1/touches.csv"} {
		_, plain := fetch("GET", path, "identity", nil)
		res, b := fetch("GET", path, "gzip", nil)
		if res.Header.Get("Content-Encoding") != "gzip" || !strings.Contains(res.Header.Get("Vary"), "Accept-Encoding") || 2*len(b) > len(plain) {
			t.Errorf("%s: encoding %q, vary %q, %d of %d bytes", path, res.Header.Get("Content-Encoding"), res.Header.Get("Vary"), len(b), len(plain))
			continue
		}
		z, err := gzip.NewReader(strings.NewReader(string(b)))
		if err != nil {
			t.Fatal(err)
		}
		if back, err := io.ReadAll(z); err != nil || string(back) != string(plain) {
			t.Errorf("%s: another body comes back: %v", path, err)
		}
	}
	signed, b := fetch("POST", "/do/run/r1/signoff", "gzip", url.Values{"digest": {webtest.Digest}, "person": {"Ida"}, "caution": {"unproved"}})
	if signed.Header.Get("Content-Encoding") != "" || !strings.Contains(string(b), "token-for-"+webtest.Digest) {
		t.Errorf("the screen with a token: encoding %q", signed.Header.Get("Content-Encoding"))
	}
	if stream, _ := fetch("GET", "/api/v1/runs/r1/events", "gzip", nil); stream.Header.Get("Content-Encoding") != "" {
		t.Error("an event stream is compressed")
	}
}
