package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"abbed/daemon/web/webtest"
)

// policy is the strictest that the page must work under.
const policy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// shots are the screens that a person meets, by the scene that shows them.
var shots = []struct{ scene, path string }{
	{"unopened", "/"}, {"ready", "/"}, {"owed", "/"}, {"gauge", "/"}, {"confirm", "/run/r1"}, {"repeat", "/run/r1"},
	{"gauge", "/run/r1"}, {"next", "/run/r1"}, {"prompt", "/run/r1"}, {"survey", "/run/r1"}, {"done", "/run/r1"},
	{"done", "/run/r1/results"}, {"worn", "/run/r1/results"}, {"done", "/run/r1/review"}, {"worn", "/run/r1/review"},
	{"writing", "/applied"}, {"kept", "/applied"}, {"unfinished", "/applied"}, {"failed", "/run/r0"}, {"done", "/runs"},
	{"ready", "/printer"}, {"hostile", "/run/r1/results"}, {"ready", "/nothing"},
}

// TestScreenshots writes pictures of the screens into the folder named by
// ABBED_SCREENS, with Debian's chromium; without the variable it is skipped.
func TestScreenshots(t *testing.T) {
	dir := os.Getenv("ABBED_SCREENS")
	if dir == "" {
		t.Skip("ABBED_SCREENS names no folder")
	}
	only := os.Getenv("ABBED_SCREEN")
	for _, shot := range shots {
		name := shot.scene + strings.ReplaceAll(shot.path, "/", "-")
		if only != "" && !strings.Contains(name, only) {
			continue
		}
		h := handler(webtest.Scene(shot.scene))
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Security-Policy", policy)
			h.ServeHTTP(w, r)
		}))
		for _, size := range []string{"390,2600", "1280,1500"} {
			file := filepath.Join(dir, name+"-"+strings.Split(size, ",")[0]+".png")
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			out, err := exec.CommandContext(ctx, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
				"--disable-background-networking", "--disable-component-update", "--hide-scrollbars", "--virtual-time-budget=1500",
				"--user-data-dir="+t.TempDir(), "--window-size="+size, "--screenshot="+file, server.URL+shot.path).CombinedOutput()
			cancel()
			if err != nil {
				t.Errorf("%s: %v: %s", name, err, out)
			}
		}
		server.CloseClientConnections()
		server.Close()
	}
}
