package e2e_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/config"
	"abbed/daemon/api"
	"abbed/daemon/store"
	"abbed/gcode/bench"
	"abbed/probe/record"
)

// TestHostileQueries: whatever stands in the query of a screen or of an answer,
// it is taken for a good or a bad question of a person, and never leads to a
// fault of this program, to another page's code, or to a long calculation.
func TestHostileQueries(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	dir := image(t, measured(t, sc, 2))
	values := []string{"", "NaN", "Inf", "-1e999", "1e308", "0x1p-1074", "%00", "%1b%5b2J", "%ff%fe", "../../..//etc/passwd",
		"%3Cscript%3E", strings.Repeat("9", 5000), "1,2,3,4,5,6,7", "NaN,NaN", "-300,-300,300,300", strings.Repeat("1,1%20", 3000)}
	synctest.Test(t, func(t *testing.T) {
		w := open(t, dir, sc, &cable{printer: bench.New(sc, bench.Options{Seed: 2})})
		defer w.close()
		ready(t, w)
		runs, err := w.api.Runs(t.Context())
		if err != nil || len(runs) != 1 {
			t.Fatal(runs, err)
		}
		run := runs[0].ID
		asked := 0
		for path, keys := range map[string][]string{
			"/": {"v"}, "/runs": {"x"},
			"/run/" + run + "/elsewhere": {"x", "y"}, "/run/" + run + "/report": {"save"}, "/run/" + run + "/worksheet": {"paper"},
			"/api/v1/runs/" + run + "/levers": {"lever", "within"}, "/api/v1/proof-print": {"run"},
			"/api/v1/runs/" + run + "/repair": {"mounting", "spacing", "width", "height", "rails", "pitch", "supports"},
		} {
			for _, key := range keys {
				for _, v := range values {
					r := httptest.NewRequest(http.MethodGet, w.house.URL()+path, nil)
					r.RemoteAddr = "127.0.0.1:40000"
					r.URL.RawQuery = fmt.Sprintf("%s=%s&%s=%s&;&%%zz", key, v, key, v)
					a := httptest.NewRecorder()
					w.house.Server.Handler.ServeHTTP(a, r)
					if a.Code >= 500 || strings.Contains(a.Body.String(), "<script>") || a.Code == http.StatusMisdirectedRequest {
						t.Errorf("%s?%.60s: %d %.200s", path, r.URL.RawQuery, a.Code, a.Body)
					}
					asked++
				}
			}
		}
		if asked < 250 {
			t.Errorf("%d questions only", asked)
		}
		time.Sleep(time.Second)
	})
}

// TestHostileExport reads in a file that somebody made, with every sum right and
// numbers, lists and texts in its runs that no machine ever gave: nothing panics,
// hangs or is taken for a table, and the daemon goes on.
func TestHostileExport(t *testing.T) {
	t.Parallel()
	sc := lookup(t, "twist-level")
	good, _, err := store.Open(t.Context(), image(t, measured(t, sc, 2)))
	if err != nil {
		t.Fatal(err)
	}
	defer good.Close()
	rows, err := good.Runs(t.Context())
	if err != nil || len(rows) != 1 {
		t.Fatal(rows, err)
	}
	events, err := good.Events(t.Context(), rows[0].ID, 0)
	if err != nil {
		t.Fatal(err)
	}
	made := memoryDir(t)
	s, _, err := store.Open(t.Context(), made)
	if err != nil {
		t.Fatal(err)
	}
	rnd := rand.New(rand.NewPCG(5, 7))
	names := []string{"../../..//etc/x", `"><script>alert(1)</script>`, "\x1b[2J", strings.Repeat("r", 3000), "a/b", "%2e%2e"}
	for k := range 8 {
		id := fmt.Sprintf("018f%04d-0000-7000-8000-000000000000", k)
		if k < len(names) {
			id = names[k]
		}
		for _, e := range spoilEvents(t, events, id, rnd) {
			if s.Append(t.Context(), id, e) != nil {
				break // the store takes what could be an event
			}
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	if _, _, err := store.Export(t.Context(), made, &file, time.Now()); err != nil {
		t.Fatal(err)
	}
	dir := memoryDir(t)
	if _, _, err := store.Import(t.Context(), dir, &file); err != nil {
		t.Fatal(err)
	}
	h := livingHouse(t, func(s *config.Settings) { s.State = dir })
	look := func(path string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodGet, h.URL()+path, nil)
		r.RemoteAddr = "127.0.0.1:40000"
		a := httptest.NewRecorder()
		began := time.Now()
		h.Server.Handler.ServeHTTP(a, r)
		if d := time.Since(began); a.Code >= 500 && a.Code != 503 && !strings.Contains(a.Body.String(), "no printer on a desk") || strings.Contains(a.Body.String(), "<script>alert") || d > 20*time.Second {
			t.Errorf("%.100s: %d %.200s after %v", path, a.Code, a.Body, d)
		}
		return a
	}
	for _, path := range []string{"/", "/runs", "/applied", "/metrics", "/api/v1/history", "/api/v1/printer"} {
		look(path)
	}
	var runs []api.Run
	if err := json.Unmarshal(look("/api/v1/runs").Body.Bytes(), &runs); err != nil || len(runs) < 5 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	offered := 0
	for _, r := range runs {
		id := url.PathEscape(r.ID)
		for _, path := range []string{"/run/", "/api/v1/runs/"} {
			look(path + id)
		}
		for _, below := range []string{"results", "review", "report", "tools", "elsewhere", "touches.csv", "gaugings.csv", "proof.gcode", "worksheet"} {
			look("/run/" + id + "/" + below)
		}
		for _, below := range []string{"record", "analysis", "table", "levers", "repair"} {
			a := look("/api/v1/runs/" + id + "/" + below)
			if below == "table" && strings.Contains(a.Body.String(), `"digest":"`) {
				offered++
			}
		}
	}
	t.Logf("%d hostile runs read in, %d of them still offer a table", len(runs), offered)
}

// spoilEvents returns the events of a run under another name, with a few of their
// values replaced by what nobody expects.
func spoilEvents(t *testing.T, events []record.Event, id string, rnd *rand.Rand) []record.Event {
	t.Helper()
	out := make([]record.Event, 0, len(events))
	first, often := rnd.IntN(2) == 0, 1+rnd.IntN(200)
	for n, e := range events {
		b, err := json.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		var v map[string]any
		if err := json.Unmarshal(b, &v); err != nil {
			t.Fatal(err)
		}
		if n == 0 && first || n > 0 && rnd.IntN(often) == 0 {
			for key, body := range v {
				if key != "n" {
					v[key] = spoilValue(body, rnd)
				}
			}
		}
		if b, err = json.Marshal(v); err != nil {
			t.Fatal(err)
		}
		x, err := record.Decode(b)
		if err != nil {
			x = e // that could not even be written
		}
		if x.N = e.N; x.Opened != nil {
			x.Opened.ID, x.Opened.Version = id, record.Version
		}
		out = append(out, x)
	}
	return out
}

// spoilValue replaces about one value in four.
func spoilValue(v any, rnd *rand.Rand) any {
	replace := rnd.IntN(4) == 0
	switch v := v.(type) {
	case map[string]any:
		for k := range v {
			v[k] = spoilValue(v[k], rnd)
		}
	case []any:
		if replace {
			return v[:rnd.IntN(len(v)+1)]
		}
		for i := range v {
			v[i] = spoilValue(v[i], rnd)
		}
	case float64:
		if replace {
			return []float64{0, -v, v * 1e9, 1e300, -1e300, 1e-300, 1e6, 2147483647, -1}[rnd.IntN(9)]
		}
	case string:
		if replace {
			return []string{"", `"><script>alert(1)</script>`, "\x1b[2J\u202e", strings.Repeat("x", 10000), "G28\nM112"}[rnd.IntN(5)]
		}
	}
	return v
}
