package web_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"abbed/daemon/access"
	"abbed/daemon/web"
	"abbed/daemon/web/page"
	"abbed/daemon/web/webtest"
)

// Whoever may do everything sees which browsers are let in, lets another in by
// a link that works once, and puts one out; nobody else sees them.
func TestDevices(t *testing.T) {
	a, _, err := access.Open(access.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewUnstartedServer(nil)
	site := web.New(webtest.Scene("ready"), web.Options{Options: page.Options{Who: access.Who, Doors: a}})
	if s.Config.Handler, err = a.Guard(s.Listener.Addr().String(), site); err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(s.Close)
	text, err := os.ReadFile(a.TokenFile())
	if err != nil {
		t.Fatal(err)
	}
	token := "Bearer " + strings.TrimSpace(string(text))
	c := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	send := func(method, path string, form url.Values, head ...string) (int, string, *http.Response) {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), method, s.URL+path, strings.NewReader(form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		for i := 0; i+1 < len(head); i += 2 {
			r.Header.Set(head[i], head[i+1])
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
		return res.StatusCode, string(b), res
	}
	// A link for another device, used by it.
	letIn := func(role string) string {
		t.Helper()
		status, html, res := send("POST", "/do/pair", url.Values{"role": {role}}, "Authorization", token, "Accept-Encoding", "gzip")
		code := regexp.MustCompile(`type the code <b>([A-Z2-7-]+)</b>`).FindStringSubmatch(html)
		if status != 200 || code == nil || strings.Contains(html, `class="picture code"`) || res.Header.Get("Content-Encoding") != "" || !strings.Contains(html, "say yes to the phone") {
			t.Fatalf("a link to %s: %d %.300s", role, status, html)
		}
		_, _, in := send("POST", "/in", url.Values{"code": {code[1]}})
		if in.StatusCode != 303 || len(in.Cookies()) != 1 {
			t.Fatalf("the link opens nothing: %d", in.StatusCode)
		}
		if again, _, _ := send("POST", "/in", url.Values{"code": {code[1]}}); again == 303 {
			t.Error("the link works twice")
		}
		return in.Cookies()[0].Name + "=" + in.Cookies()[0].Value
	}
	looker, signer := letIn("look"), letIn("sign")
	for name, c := range map[string]struct {
		head []string
		want int
	}{"nobody": {nil, 401}, "a looker": {[]string{"Cookie", looker}, 403}, "a signer": {[]string{"Cookie", signer}, 200}, "the token": {[]string{"Authorization", token}, 200}} {
		if got, html, _ := send("GET", "/printer", nil, c.head...); strings.Contains(html, "<h2>Devices</h2>") != (c.want == 200) {
			t.Errorf("%s: %d, the devices are shown: %v", name, got, c.want != 200)
		}
		if got, _, _ := send("POST", "/do/pair", url.Values{"role": {"none"}}, c.head...); c.want == 200 && got != 422 || c.want != 200 && got != c.want {
			t.Errorf("%s, a link of no role: %d", name, got)
		}
	}
	_, html, _ := send("GET", "/printer", nil, "Cookie", signer)
	if strings.Count(html, "(this device)") != 1 || !strings.Contains(html, "may look") {
		t.Errorf("the devices: %.600s", html)
	}
	for _, x := range a.Sessions() {
		if status, _, _ := send("POST", "/do/device", url.Values{"id": {x.ID}}, "Authorization", token); status != 303 {
			t.Errorf("put out %s: %d", x.ID, status)
		}
	}
	if got, html, _ := send("GET", "/printer", nil, "Cookie", signer); strings.Contains(html, "<h2>Devices</h2>") {
		t.Errorf("signed out, and still let in: %d", got)
	}
	if status, _, _ := send("POST", "/do/device", url.Values{"id": {"none"}}, "Authorization", token); status != 404 {
		t.Errorf("put out nobody: %d", status)
	}
}
