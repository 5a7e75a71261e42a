package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode/bench"
)

// TestHostileQueries: whatever stands in the query of a screen or of an answer,
// it is taken for a good or a bad question of a person, and never leads to a
// fault of this program, to another page's code, or to a long calculation.
func TestHostileQueries(t *testing.T) {
	sc := lookup(t, "twist-level")
	dir := image(t, measured(t, sc, 2))
	values := []string{"", "NaN", "Inf", "-1e999", "1e308", "0x1p-1074", "%00", "%1b%5b2J", "%ff%fe", "../../etc/passwd",
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
			"/": {"v"}, "/runs": {"x"}, "/history": {"x"},
			"/run/" + run + "/elsewhere": {"x", "y"}, "/run/" + run + "/report": {"save"}, "/run/" + run + "/worksheet": {"paper"},
			"/api/v1/runs/" + run + "/levers": {"lever", "within"}, "/api/v1/proof-print": {"run"},
			"/api/v1/runs/" + run + "/repair": {"mounting", "spacing", "width", "height", "rails", "thread", "supports"},
		} {
			for _, key := range keys {
				for _, v := range values {
					r := httptest.NewRequest(http.MethodGet, w.house.url()+path, nil)
					r.RemoteAddr = "127.0.0.1:40000"
					r.URL.RawQuery = fmt.Sprintf("%s=%s&%s=%s&;&%%zz", key, v, key, v)
					a := httptest.NewRecorder()
					w.house.server.Handler.ServeHTTP(a, r)
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
