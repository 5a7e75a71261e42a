package web_test

import (
	"net/http/httptest"
	"strings"
	"testing"

	"abbed/daemon/api"
	"abbed/daemon/web/page"
	"abbed/daemon/web/webtest"
)

// At the door a stranger sees the refusal in the page's own dress, a field for
// the code where that helps, and nothing of the printer.
func TestShut(t *testing.T) {
	for status, field := range map[int]bool{401: true, 403: false, 421: false, 429: false} {
		w := httptest.NewRecorder()
		page.Shut(w, httptest.NewRequest("GET", "/run/r1", nil), api.Errorf(status, "x", webtest.Hostile, "what to do: "+webtest.Hostile))
		html := w.Body.String()
		if w.Code != status || strings.Contains(html, `name="code"`) != field || !strings.Contains(html, "/static/abbed.css") || !strings.Contains(html, "What to do") {
			t.Errorf("%d: %d %s", status, w.Code, html)
		}
		for _, never := range []string{"<script>alert", "data-events", "/run/r1/events"} {
			if strings.Contains(html, never) {
				t.Errorf("%d shows %q", status, never)
			}
		}
	}
}

// Many who look at one screen cost one drawing; whoever asked for a change, and
// whoever looks after one, sees it.
func TestSharedScreens(t *testing.T) {
	d := webtest.Scene("survey")
	h := handler(d)
	first := get(t, h, "/run/r1").Body.String()
	if again := get(t, h, "/run/r1").Body.String(); again != first || !strings.Contains(first, "74 of 175") {
		t.Error("the same screen twice differs")
	}
	d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done = 75 })
	if !strings.Contains(get(t, h, "/run/r1").Body.String(), "75 of 175") {
		t.Error("a change is not seen")
	}
	if !strings.Contains(get(t, h, "/runs").Body.String(), "/run/r1") || get(t, h, "/run/none").Code != 404 {
		t.Error("one screen was shown for another")
	}
	if get(t, h, "/run/r1").Header().Get("Cache-Control") != "no-store" {
		t.Error("a browser may keep a screen")
	}
}
