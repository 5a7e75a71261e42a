package web_test

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// policy is the strictest that the page must work under.
const policy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

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
		name = strings.NewReplacer("/", "-", "?", "-", "&", "-", " ", "-", "%", "").Replace(shot.String())
		name = name[:min(len(name), 60)]
		if only := os.Getenv("SCREEN_ONLY"); only != "" && !strings.Contains(name, only) {
			continue
		}
		photograph(t, ctx, shot, filepath.Join(dir, name))
	}
}

// complaint fails on what the browser writes to its console.
func complaint(t *testing.T, name string, e any) {
	switch e := e.(type) {
	case *log.EventEntryAdded:
		if !strings.Contains(e.Entry.Text, "responded with a status of 4") { // a refusal has its own
			t.Errorf("%s: the browser says %s: %s", name, e.Entry.Level, e.Entry.Text)
		}
	case *runtime.EventExceptionThrown:
		t.Errorf("%s: the script failed: %v", name, e.ExceptionDetails)
	}
}

// resize gives the browser a window of w x h px: a phone's where it is narrower than
// 500, or lies on its side, lower than 420.
func resize(ctx context.Context, w, h int64) error {
	_, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: w, Height: h, DeviceScaleFactor: 1, Mobile: w < 500 || h < 420})
	return err
}

// photograph takes phones' and a desk's view of one screen; at the gauge what is in the
// window, elsewhere the whole.
func photograph(t *testing.T, ctx context.Context, shot shot, file string) {
	leave := shot.open(t, ctx, func(h http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Security-Policy", policy)
			h.ServeHTTP(w, r)
		})
	})
	defer leave()
	for _, v := range views {
		if v.name != "390" && v.name != "1280" && v.name != "320 dark" && !(v.name == "side" || v.name == "390 dark") {
			continue
		}
		if err := resize(ctx, v.w, v.h); err != nil {
			t.Fatal(err)
		}
		media(t, ctx, v.scheme, "reduce")
		how := chromedp.FullScreenshot(100)
		if eval[bool](t, ctx, `document.documentElement.matches('.at-gauge')`) {
			how = chromedp.CaptureScreenshot()
		}
		picture, err := chromedp.Run(ctx, how)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file+"-"+strings.ReplaceAll(v.name, " ", "-")+".png", picture, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
