package web_test

import (
	"context"

	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"abbed/daemon/web/webtest"
)

// tally counts what is asked for and how many bytes of answers go out.
type tally struct {
	mu    sync.Mutex
	bytes int
	paths []string
}

type counted struct {
	http.ResponseWriter
	t *tally
}

func (c counted) Unwrap() http.ResponseWriter { return c.ResponseWriter }
func (c counted) Write(b []byte) (int, error) {
	c.t.mu.Lock()
	c.t.bytes += len(b)
	c.t.mu.Unlock()
	return c.ResponseWriter.Write(b)
}

// The first view of every screen that counts asks only its own origin, and
// transfers less than 100 kB. How long it takes on a phone (4 times slower, 1.6
// Mbit/s, 150 ms) is printed, not held: it depends on the machine.
func TestFirstView(t *testing.T) {
	ctx := browser(t)
	if err := resize(ctx, 390, 844); err != nil {
		t.Fatal(err)
	}
	var away []string
	if err := chromedp.Listen(ctx, func(e any) {
		if r, ok := e.(*network.EventRequestWillBeSent); ok && !strings.HasPrefix(r.Request.URL, "http://127.0.0.1:") && r.Request.URL != "about:blank" {
			away = append(away, r.Request.URL)
		}
	}); err != nil {
		t.Fatal(err)
	}
	if err := slow(ctx); err != nil {
		t.Fatal(err)
	}
	for _, shot := range []struct{ scene, path string }{{"ready", "/"}, {"gauge", "/run/r1"}, {"survey", "/run/r1"}, {"done", "/run/r1/results"},
		{"done", "/run/r1/review"}, {"kept", "/applied"}, {"done", "/run/r1/tools"}, {"done", "/runs"}, {"done", "/run/r1/report"}} {
		n := &tally{}
		h := handler(webtest.Scene(shot.scene))
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			n.mu.Lock()
			n.paths = append(n.paths, r.URL.Path)
			n.mu.Unlock()
			h.ServeHTTP(counted{w, n}, r)
		}))
		began := time.Now()
		if err := chromedp.Do(ctx, chromedp.Navigate(s.URL+shot.path)); err != nil {
			t.Fatal(err)
		}
		until(t, ctx, `document.readyState === 'complete'`)
		took, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`performance.getEntriesByType('paint').map(p => p.startTime).reduce((a, b) => Math.max(a, b), 0)`))
		if err != nil {
			t.Fatal(err)
		}
		n.mu.Lock()
		t.Logf("%s%s: %d bytes in %d answers, painted after %.0f ms, all there after %.0f ms", shot.scene, shot.path, n.bytes, len(n.paths), took, float64(time.Since(began).Milliseconds()))
		if n.bytes >= 100_000 {
			t.Errorf("%s%s: %d bytes", shot.scene, shot.path, n.bytes)
		}
		n.mu.Unlock()
		_ = chromedp.Do(ctx, chromedp.Navigate("about:blank"))
		s.CloseClientConnections()
		s.Close()
	}
	if len(away) > 0 {
		t.Errorf("left the origin: %q", away)
	}
}

// slow makes the browser that of a phone on a poor line.
func slow(ctx context.Context) error {
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		return err
	}
	if _, err := chromedp.Call(ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 4}); err != nil {
		return err
	}
	_, err := chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
		MatchedNetworkConditions: []*network.Conditions{{Latency: 150, DownloadThroughput: 200_000, UploadThroughput: 200_000}},
	})
	return err
}
