package e2e_test

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"unicode"

	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// typed are texts that would do harm if they came onto the wire, into a file
// name, a log line or a screen as they are.
var typed = []string{
	"INJECT\nM500", "INJECT\r\nM104 S250\r\n", "; INJECT", "INJECT M112", "../../..//INJECT", "INJECT\x00G28", "<script>INJECT</script>",
	"INJECT level=ERROR msg=forged", "{{.INJECT}}", "%0aINJECT%0aG28", "INJECT\u2028G28", "INJECT\xffG28",
}

// TestNothingTypedReachesTheWire sends hostile texts through every text field
// of the API and the forms, before, during and after a run: the printer hears
// none of it, and no screen shows it as markup.
func TestNothingTypedReachesTheWire(t *testing.T) {
	sc, err := bench.Lookup("healthy")
	if err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		heard := 0
		wire := &cable{printer: bench.New(sc, bench.Options{Seed: 9}), trace: func(dir, line string) {
			mu.Lock()
			defer mu.Unlock()
			heard++
			if dir == ">" && (strings.Contains(line, "INJECT") || strings.HasPrefix(line, "M500") || strings.HasPrefix(line, "M112") || strings.HasPrefix(line, "M104")) {
				t.Errorf("the printer heard %q", line)
			}
		}}
		w := open(t, dir, sc, wire)
		defer w.close()
		ready(t, w)
		x := intruder{t: t, w: w, http: &http.Client{Transport: w.transport.(http.RoundTripper), CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
		b, err := os.ReadFile(w.house.Access.TokenFile())
		if err != nil {
			t.Fatal(err)
		}
		x.token = strings.TrimSpace(string(b))
		x.everyField("none")
		r, err := w.api.StartRun(t.Context(), "repeat")
		if err != nil {
			t.Fatal(err)
		}
		x.everyField(r.ID)
		// The one field that is meant for free text: the person's name.
		how := api.Confirm{Person: strings.Join(typed[:10], " ")}
		visible := strings.Map(func(r rune) rune {
			if unicode.IsPrint(r) {
				return r
			}
			return -1
		}, how.Person)
		for _, c := range r.Cautions {
			how.Cautions = append(how.Cautions, c.ID)
		}
		if err := w.api.Confirm(t.Context(), r.ID, how); err == nil {
			t.Fatal("a name with line ends in it was taken")
		}
		how.Person = visible
		if err := w.api.Confirm(t.Context(), r.ID, how); err != nil {
			t.Fatal(err)
		}
		if r, err = w.api.Wait(t.Context(), r.ID, func(r api.Run) bool { return r.Touches > 3 }); err != nil {
			t.Fatal(err)
		}
		x.everyField(r.ID)
		if r, err = w.api.Wait(t.Context(), r.ID, func(r api.Run) bool { return r.State.Over() }); err != nil || r.State != api.Done {
			t.Errorf("the run is %s: %v", r.State, err)
		}
		x.everyField(r.ID)
		for _, path := range []string{"/", "/runs", "/run/" + r.ID, "/run/" + r.ID + "/results", "/applied", "/printer", "/run/%3Cscript%3EINJECT", "/metrics"} {
			if _, body := x.send("GET", path, "", nil); bytes.Contains(body, []byte("<script>INJECT")) {
				t.Errorf("%s shows markup", path)
			}
		}
		if heard < 20 {
			t.Errorf("%d lines heard: this test cannot fail", heard)
		}
	})
}

type intruder struct {
	t     *testing.T
	w     *world
	http  *http.Client
	token string
}

// everyField sends each text through each text field.
func (x intruder) everyField(run string) {
	for _, text := range typed {
		q, esc := jsonText(text), url.PathEscape(text)
		for _, s := range []struct{ path, body string }{
			{"/api/v1/runs", `{"steps":[` + q + `]}`},
			{"/api/v1/runs/" + esc + "/confirm", `{"cautions":[],"person":"a"}`},
			{"/api/v1/runs/" + run + "/confirm", `{"cautions":[` + q + `],"person":` + q + `}`},
			{"/api/v1/runs/" + run + "/answer", `{"prompt":` + q + `,"answer":"yes"}`},
			{"/api/v1/runs/" + run + "/answer", `{"prompt":"p","answer":` + q + `}`},
			{"/api/v1/runs/" + run + "/gauge", `{"action":` + q + `}`},
			{"/api/v1/runs/" + run + "/gap", `{"points":[[` + q + `,1]]}`},
			{"/api/v1/tables/" + esc + "/signoff", `{"cautions":[` + q + `],"person":` + q + `}`},
			{"/api/v1/tables/" + esc + "/apply", `{"token":` + q + `}`},
			{"/api/v1/applied/resolve", `{"choice":` + q + `}`},
			{"/api/v1/printer/open", `{"person":` + q + `}`},
			{"/api/v1/pair", `{"role":` + q + `}`},
		} {
			x.refused(s.path, "application/json", s.body, s.path == "/api/v1/printer/open")
		}
		form := url.Values{}
		for _, name := range []string{"person", "caution", "cautions", "step", "steps", "prompt", "answer", "press", "choice", "token", "digest", "code", "mm", "gauge_mm", "value", "cmd"} {
			form.Set(name, text)
		}
		for _, path := range []string{"/do/run", "/do/run/" + esc + "/gauge", "/do/run/" + run + "/answer", "/do/run/" + run + "/gauge", "/do/run/" + run + "/signoff", "/do/apply/" + esc, "/do/resolve", "/in"} {
			x.refused(path, "application/x-www-form-urlencoded", form.Encode(), true)
		}
	}
}

// refused sends what no server may take; may says that it is a text for which
// any answer but a fault of ours will do.
func (x intruder) refused(path, kind, body string, may bool) {
	status, answer := x.send("POST", path, body, map[string]string{"Content-Type": kind})
	if status >= 500 && status != 503 || !may && status < 400 {
		x.t.Errorf("POST %s %s: %d %.200s", path, body, status, answer)
	}
	if strings.Contains(string(answer), "<script>INJECT") && !json.Valid(answer) {
		x.t.Errorf("POST %s %s shows markup", path, body)
	}
}

func (x intruder) send(method, path, body string, head map[string]string) (int, []byte) {
	req, err := http.NewRequest(method, x.w.house.URL()+path, strings.NewReader(body))
	if err != nil {
		return 400, nil // not even a request
	}
	req.Header.Set("Authorization", "Bearer "+x.token)
	for k, v := range head {
		req.Header.Set(k, v)
	}
	res, err := x.http.Do(req)
	if err != nil {
		x.t.Errorf("%s %s: %v", method, path, err)
		return 0, nil
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		x.t.Error(err)
	}
	return res.StatusCode, b
}

func jsonText(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}
