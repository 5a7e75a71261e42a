package web_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"abbed/daemon/api"
	"abbed/daemon/web"
	"abbed/daemon/web/webtest"
)

func handler(d *webtest.Desk) http.Handler {
	return web.New(d, web.Options{Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "m 1\n") })})
}

// ask sends one request, holds the answer to the description and returns it.
func ask(t *testing.T, h http.Handler, method, path, body string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if strings.HasPrefix(path, "/api/") && method != http.MethodHead {
		if err := webtest.Validate(method, r.URL.EscapedPath(), w.Code, w.Body.Bytes()); err != nil {
			t.Error(err)
		}
	}
	return w
}

func code(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	var r api.Refusal
	if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil || r.Error == nil {
		return ""
	}
	return r.Error.Code
}

// Every read and every verb, in every state of a job, answers as the
// description says.
func TestEveryAnswerInEveryState(t *testing.T) {
	for _, name := range webtest.Scenes() {
		t.Run(name, func(t *testing.T) {
			d := webtest.Scene(name)
			h := handler(d)
			for _, path := range []string{"/api/v1/printer", "/api/v1/runs", "/api/v1/runs/nobody", "/api/v1/applied", "/api/v1/check", "/api/v1/room", "/api/v1/history", "/api/openapi.json"} {
				ask(t, h, "GET", path, "")
			}
			runs, _ := d.Runs()
			for _, r := range runs {
				base := "/api/v1/runs/" + r.ID
				for _, below := range []string{"", "/record", "/analysis", "/table", "/since/" + r.ID, "/since/nobody", "/levers?lever=0,22&lever=-10,5&within=-5,10,5,40", "/levers?lever=1", "/levers?within=5,5,1,1"} {
					ask(t, h, "GET", base+below, "")
				}
				ask(t, h, "POST", base+"/gap", `{"points":[[117.5,117.5],[190,20],[400,0]]}`)
				ask(t, h, "POST", base+"/confirm", `{"cautions":["bed-clear"],"person":"Ida","gauge_mm":0.1}`)
				ask(t, h, "POST", base+"/gauge", `{"action":"loose"}`)
				ask(t, h, "POST", base+"/answer", `{"prompt":"p","answer":"yes"}`)
			}
			ask(t, h, "POST", "/api/v1/printer/open", `{"person":"Ida"}`)
			ask(t, h, "POST", "/api/v1/tables/"+webtest.Digest+"/signoff", `{"cautions":[],"person":"Ida"}`)
			ask(t, h, "POST", "/api/v1/tables/"+webtest.Digest+"/apply", `{"token":"t"}`)
			ask(t, h, "POST", "/api/v1/applied/undo", "")
			ask(t, h, "POST", "/api/v1/applied/resolve", `{"choice":"finish"}`)
			ask(t, h, "POST", "/api/v1/stop", "")
			ask(t, h, "POST", "/api/v1/runs", `{"steps":["repeat"]}`)
		})
	}
}

func TestStatuses(t *testing.T) {
	for _, c := range []struct {
		name, method, path, body string
		status                   int
		code                     string
	}{
		{"start", "POST", "/api/v1/runs", `{"steps":["repeat","survey"]}`, 201, ""},
		{"confirm", "POST", "/api/v1/runs/r1/confirm", `{"cautions":["a"],"person":"Ida"}`, 202, ""},
		{"open", "POST", "/api/v1/printer/open", `{"person":"Ida"}`, 202, ""},
		{"approve", "POST", "/api/v1/tables/x/signoff", `{"cautions":["a"],"person":"Ida"}`, 200, ""},
		{"apply", "POST", "/api/v1/tables/x/apply", `{"token":"t"}`, 202, ""},
		{"undo", "POST", "/api/v1/applied/undo", ``, 202, ""},
		{"undo with an object", "POST", "/api/v1/applied/undo", `{}`, 202, ""},
		{"resolve", "POST", "/api/v1/applied/resolve", `{"choice":"take-back"}`, 202, ""},
		{"stop", "POST", "/api/v1/stop", ``, 202, ""},
		{"stop whatever the body", "POST", "/api/v1/stop", `{"no json`, 202, ""},

		{"empty", "POST", "/api/v1/runs", ``, 400, "bad-json"},
		{"not JSON", "POST", "/api/v1/runs", `steps=repeat`, 400, "bad-json"},
		{"trailing", "POST", "/api/v1/runs", `{"steps":["repeat"]} {}`, 400, "bad-json"},
		{"NaN", "POST", "/api/v1/runs/r1/answer", `{"prompt":"p","answer":"yes","value":NaN}`, 400, "bad-json"},
		{"invalid bytes", "POST", "/api/v1/runs", "{\"steps\":[\"\x00\"]}", 400, "bad-json"},
		{"a list", "POST", "/api/v1/runs", `["repeat"]`, 422, "bad-json"},
		{"null", "POST", "/api/v1/runs", `null`, 422, "bad-json"},
		{"no steps", "POST", "/api/v1/runs", `{}`, 422, "bad-value"},
		{"steps null", "POST", "/api/v1/runs", `{"steps":null}`, 422, "bad-value"},
		{"steps of numbers", "POST", "/api/v1/runs", `{"steps":[1]}`, 422, "bad-value"},
		{"unknown member", "POST", "/api/v1/runs", `{"steps":["repeat"],"speed":1}`, 422, "bad-value"},
		{"twice", "POST", "/api/v1/runs", `{"steps":["repeat"],"steps":["survey"]}`, 422, "bad-value"},
		{"twice, in capitals", "POST", "/api/v1/runs/r1/gauge", `{"action":"loose","Action":"tight"}`, 422, "bad-value"},
		{"twice, by a letter that folds", "POST", "/api/v1/runs", `{"steps":["repeat"],"\u017fteps":["survey"]}`, 422, "bad-value"},
		{"a name that moves the cursor", "POST", "/api/v1/runs/r1/confirm", `{"cautions":["a"],"person":"Ida\u001b[2J"}`, 422, "bad-value"},
		{"a name that turns the writing", "POST", "/api/v1/tables/x/signoff", `{"cautions":["a"],"person":"Ida\u202e.exe"}`, 422, "bad-value"},
		{"a name on two lines", "POST", "/api/v1/printer/open", `{"person":"Ida\nlevel=ERROR"}`, 422, "bad-value"},
		{"a reader whose name moves the cursor", "POST", "/api/v1/runs/r1/readings", `{"csv":"quantity,x,y,value,u\nroll,1,2,0.1,0.02\n","person":"Ida\u001b[2J"}`, 422, "bad-value"},
		{"a reader whose name turns the writing", "POST", "/api/v1/runs/r1/thickness", `{"in_force":"none","person":"Ida\u202e.exe"}`, 422, "bad-value"},
		{"nameless", "POST", "/api/v1/runs/r1/confirm", `{"cautions":[],"person":"  "}`, 422, "bad-value"},
		{"no name", "POST", "/api/v1/printer/open", `{}`, 422, "bad-value"},
		{"huge number", "POST", "/api/v1/runs/r1/answer", `{"prompt":"p","answer":"yes","value":1e999}`, 422, "bad-value"},
		{"a number as text", "POST", "/api/v1/runs/r1/answer", `{"prompt":"p","answer":"yes","value":"0.05"}`, 422, "bad-value"},
		{"a step of one's own", "POST", "/api/v1/runs/r1/gauge", `{"action":"loose","mm":0.05}`, 422, "bad-value"},
		{"a step as it was", "POST", "/api/v1/runs/r1/gauge", `{"action":"lower","mm":0.05}`, 422, "bad-value"},
		{"no action", "POST", "/api/v1/runs/r1/gauge", `{}`, 422, "bad-value"},
		{"two actions", "POST", "/api/v1/runs/r1/gauge", `{"action":["loose","drags"]}`, 422, "bad-value"},
		{"odd action", "POST", "/api/v1/runs/r1/gauge", `{"action":"plunge"}`, 422, "bad-value"},
		{"odd answer", "POST", "/api/v1/runs/r1/answer", `{"prompt":"p","answer":"perhaps"}`, 422, "bad-value"},
		{"odd choice", "POST", "/api/v1/applied/resolve", `{"choice":"leave"}`, 422, "bad-value"},
		{"a short point", "POST", "/api/v1/runs/r1/gap", `{"points":[[1]]}`, 422, "bad-value"},
		{"a long point", "POST", "/api/v1/runs/r1/gap", `{"points":[[1,2,3]]}`, 422, "bad-value"},
		{"no points", "POST", "/api/v1/runs/r1/gap", `{}`, 422, "bad-value"},
		{"no token", "POST", "/api/v1/tables/x/apply", `{}`, 422, "bad-value"},
		{"too large", "POST", "/api/v1/runs", `{"steps":["` + strings.Repeat("a", web.MaxBody) + `"]}`, 413, "too-large-body"},

		{"no path", "GET", "/api/v2/runs", ``, 404, "not-found"},
		{"not built", "POST", "/api/v1/applied/turned", `{}`, 404, "not-found"},
		{"no run", "GET", "/api/v1/runs/none", ``, 404, "not-found"},
		{"no run's record", "GET", "/api/v1/runs/none/record", ``, 404, "not-found"},
		{"no run's events", "GET", "/api/v1/runs/none/events", ``, 404, "not-found"},
		{"wrong method", "DELETE", "/api/v1/runs/r1", ``, 405, "not-allowed"},
		{"get a post", "GET", "/api/v1/stop", ``, 405, "not-allowed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := webtest.Scene("done")
			w := ask(t, handler(d), c.method, c.path, c.body)
			if w.Code != c.status || code(t, w) != c.code {
				t.Errorf("%d %s, want %d %s", w.Code, w.Body, c.status, c.code)
			}
			if asked := d.Asked(); c.status >= 400 && len(asked) > 0 {
				t.Errorf("the desk was asked all the same: %v", asked)
			}
		})
	}
}

// TestPackedBody: a body that is packed is refused and never unpacked: 100 MB of
// zeros fit into 100 KB.
func TestPackedBody(t *testing.T) {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, _ = z.Write([]byte(`{"steps":["repeat"]}`))
	_ = z.Close()
	for _, coding := range []string{"gzip", "GZIP", "deflate", "br", "identity, gzip"} {
		d := webtest.Scene("done")
		r := httptest.NewRequest("POST", "/api/v1/runs", bytes.NewReader(packed.Bytes()))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Content-Encoding", coding)
		w := httptest.NewRecorder()
		handler(d).ServeHTTP(w, r)
		if w.Code != 415 || !strings.Contains(w.Body.String(), "Content-Encoding") || len(d.Asked()) > 0 {
			t.Errorf("%s: %d %s", coding, w.Code, w.Body)
		}
	}
}

func TestAllow(t *testing.T) {
	w := ask(t, handler(webtest.Scene("ready")), "PUT", "/api/v1/runs", `{}`)
	if got := w.Header().Get("Allow"); got != "GET, POST" {
		t.Errorf("Allow %q, want GET, POST", got)
	}
}

func TestContentType(t *testing.T) {
	send := func(kind, authorization string) int {
		r := httptest.NewRequest("POST", "/api/v1/runs", strings.NewReader(`{"steps":["repeat"]}`))
		r.Header.Set("Content-Type", kind)
		if authorization != "" {
			r.Header.Set("Authorization", authorization)
		}
		w := httptest.NewRecorder()
		handler(webtest.Scene("ready")).ServeHTTP(w, r)
		return w.Code
	}
	for _, c := range []struct {
		kind, authorization string
		want                int
	}{
		{"application/json; charset=utf-8", "", 201},
		{"text/plain", "", 415},
		{"application/x-www-form-urlencoded", "", 415},
		{"application/x-www-form-urlencoded", "Bearer x", 201},
	} {
		if got := send(c.kind, c.authorization); got != c.want {
			t.Errorf("%q with %q: %d, want %d", c.kind, c.authorization, got, c.want)
		}
	}
}

func TestRetryAfter(t *testing.T) {
	w := ask(t, handler(webtest.Scene("connecting")), "POST", "/api/v1/runs", `{"steps":["repeat"]}`)
	if w.Code != 503 || w.Header().Get("Retry-After") != "2" || code(t, w) != "connecting" {
		t.Errorf("%d, Retry-After %q, %s", w.Code, w.Header().Get("Retry-After"), w.Body)
	}
	w = ask(t, handler(webtest.Scene("connecting")), "POST", "/api/v1/runs", `{"steps":`)
	if w.Code != 400 {
		t.Errorf("JSON is checked before the printer: %d, want 400", w.Code)
	}
}

// What is not a refusal is a fault of ours: 500, without what is inside.
func TestInside(t *testing.T) {
	d := webtest.Scene("done")
	d.Change(func(s *webtest.Show) { s.Refuse = map[string]error{"StartRun": io.ErrUnexpectedEOF} })
	w := ask(t, handler(d), "POST", "/api/v1/runs", `{"steps":["repeat"]}`)
	if w.Code != 500 || strings.Contains(w.Body.String(), "EOF") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	d.Change(func(s *webtest.Show) {
		a := s.Analyses["r1"]
		a.Share = &api.Measured{Value: math.NaN()}
		s.Analyses["r1"] = a
	})
	if w := ask(t, handler(d), "GET", "/api/v1/runs/r1/analysis", ""); w.Code != 500 || code(t, w) != "internal" {
		t.Errorf("a number that is not finite: %d %s", w.Code, w.Body)
	}
}

func TestBeside(t *testing.T) {
	h := handler(webtest.Scene("connecting"))
	if w := ask(t, h, "GET", "/healthz", ""); w.Code != 200 || w.Body.String() != "ok\n" {
		t.Errorf("healthz: %d %q", w.Code, w.Body)
	}
	if w := ask(t, h, "GET", "/metrics", ""); w.Body.String() != "m 1\n" {
		t.Errorf("metrics: %q", w.Body)
	}
}

func TestValidateFinds(t *testing.T) {
	for name, c := range map[string]struct {
		path   string
		status int
		body   string
	}{
		"another member":  {"/api/v1/applied", 200, `{"state":"none","digest":null,"proved":false,"expired":null,"sentence":"","error":null,"progress":{"done":0,"of":0,"eta_s":null},"since":null,"colour":1}`},
		"a missing one":   {"/api/v1/applied", 200, `{"state":"none"}`},
		"a wrong state":   {"/api/v1/applied", 200, `{"state":"well","digest":null,"proved":false,"expired":null,"sentence":"","error":null,"progress":{"done":0,"of":0,"eta_s":null},"since":null}`},
		"an unknown code": {"/api/v1/runs/x", 404, `{"error":{"code":"odd","text":"","hint":""}}`},
		"a status":        {"/api/v1/applied", 418, `{}`},
		"a path":          {"/api/v1/nothing", 200, `{}`},
	} {
		if webtest.Validate("GET", c.path, c.status, []byte(c.body)) == nil {
			t.Errorf("%s was not found", name)
		}
	}
	// What fits is compared once; that says nothing of another place, nor of another body.
	refused := []byte(`{"error":{"code":"not-found","text":"there is none","hint":"look"}}`)
	for range 2 {
		if err := webtest.Validate("GET", "/api/v1/runs/x", 404, refused); err != nil {
			t.Error(err)
		}
		if webtest.Validate("GET", "/api/v1/applied", 200, refused) == nil || webtest.Validate("GET", "/api/v1/runs/x", 404, append(refused[:len(refused):len(refused)], '}')) == nil {
			t.Error("what fits elsewhere was taken to fit")
		}
	}
}

// Whatever the bytes, the answer is one that the description has.
func FuzzBody(f *testing.F) {
	for _, s := range []string{`{"action":"loose"}`, `{"mm":1e400,"action":[]}`, `{"a":{"a":1,"a":2}}`, "\xff", `{"action":"drags","gauge_mm":null}`} {
		f.Add(s)
	}
	h := handler(webtest.Scene("gauge"))
	f.Fuzz(func(t *testing.T, body string) {
		r := httptest.NewRequest("POST", "/api/v1/runs/r1/gauge", strings.NewReader(body))
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if err := webtest.Validate("POST", "/api/v1/runs/r1/gauge", w.Code, w.Body.Bytes()); err != nil || w.Code >= 500 {
			t.Errorf("%q: %d %v", body, w.Code, err)
		}
	})
}
