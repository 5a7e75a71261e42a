package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"abbed/daemon/web/webtest"
)

// policy is the strictest that the page must work under.
const policy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// shots are the screens that a person meets, by the scene that shows them.
var shots = []struct{ scene, path string }{
	{"unopened", "/"}, {"ready", "/"}, {"owed", "/"}, {"gauge", "/"}, {"confirm", "/run/r1"}, {"repeat", "/run/r1"},
	{"gauge", "/run/r1"}, {"next", "/run/r1"}, {"prompt", "/run/r1"}, {"survey", "/run/r1"}, {"done", "/run/r1"},
	{"done", "/run/r1/results"}, {"worn", "/run/r1/results"}, {"done", "/run/r1/review"}, {"worn", "/run/r1/review"},
	{"writing", "/applied"}, {"kept", "/applied"}, {"unfinished", "/applied"}, {"failed", "/run/r0"}, {"done", "/runs"}, {"done", "/run/r1/report"},
	{"ready", "/printer"}, {"done", "/history"}, {"done", "/run/r1/since/r0"}, {"done", "/run/r1/elsewhere?x=0&y=40"}, {"ready", "/room"}, {"room", "/room"}, {"room", "/"}, {"hostile", "/run/r1/results"}, {"ready", "/nothing"},
}

// TestScreenshots writes pictures of the screens into the folder named by
// SCREENS_DIR, with Debian's chromium, and fails on whatever the browser
// writes to its console (a breach of the policy among it); without the variable
// it is skipped.
func TestScreenshots(t *testing.T) {
	dir := os.Getenv("SCREENS_DIR")
	if dir == "" {
		t.Skip("SCREENS_DIR names no folder")
	}
	ctx := browser(t)
	name := ""
	if err := chromedp.Listen(ctx, func(e any) { complaint(t, name, e) }); err != nil {
		t.Fatal(err)
	}
	for _, shot := range shots {
		name = shot.scene + strings.ReplaceAll(shot.path, "/", "-")
		if only := os.Getenv("SCREEN_ONLY"); only != "" && !strings.Contains(name, only) {
			continue
		}
		photograph(t, ctx, shot.scene, shot.path, filepath.Join(dir, name))
	}
}

// complaint fails on what the browser writes to its console.
func complaint(t *testing.T, name string, e any) {
	switch e := e.(type) {
	case *log.EventEntryAdded:
		if !strings.Contains(e.Entry.Text, "404 (Not Found)") {
			t.Errorf("%s: the browser says %s: %s", name, e.Entry.Level, e.Entry.Text)
		}
	case *runtime.EventExceptionThrown:
		t.Errorf("%s: the script failed: %v", name, e.ExceptionDetails)
	}
}

// resize gives the browser a window of w x h px, a phone's below 500.
func resize(ctx context.Context, w, h int64) error {
	_, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: w, Height: h, DeviceScaleFactor: 1, Mobile: w < 500})
	return err
}

// photograph takes a phone's and a desktop's view of one screen.
func photograph(t *testing.T, ctx context.Context, scene, path, file string) {
	h := handler(webtest.Scene(scene))
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", policy)
		h.ServeHTTP(w, r)
	}))
	defer server.Close()
	defer server.CloseClientConnections()
	defer func() { _ = chromedp.Do(ctx, chromedp.Navigate("about:blank")) }() // leaves the event stream
	for _, size := range []struct {
		name string
		w, h int64
		dark bool
	}{{"390", 390, 844, false}, {"1280", 1280, 900, false}, {"390-dark", 390, 844, true}} {
		scheme := "light"
		if size.dark {
			scheme = "dark"
		}
		if err := resize(ctx, size.w, size.h); err != nil {
			t.Fatal(err)
		}
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		if err != nil {
			t.Fatal(err)
		}
		if err := chromedp.Do(ctx, chromedp.Navigate(server.URL+path)); err != nil && !strings.Contains(err.Error(), "404") {
			t.Fatalf("%s: %v", file, err)
		}
		spill, err := chromedp.Run(ctx, chromedp.Evaluate[int](`document.documentElement.scrollWidth - document.documentElement.clientWidth`))
		if err != nil {
			t.Fatal(err)
		}
		if spill > 0 {
			t.Errorf("%s-%s: spills %d px to the right", file, size.name, spill)
		}
		shot, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file+"-"+size.name+".png", shot, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
