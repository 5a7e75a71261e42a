package web_test

import (
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"abbed/daemon/web/webtest"
)

// TestAxe runs axe-core over every screen. AXE_CORE_JS names its axe.min.js (npm
// i axe-core; third-party code is never committed); without it, skipped, but
// failed in CI.
func TestAxe(t *testing.T) {
	file := os.Getenv("AXE_CORE_JS")
	if file == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("AXE_CORE_JS names no axe.min.js, and .ci/run installs it")
		}
		t.Skip("the rules of accessibility are not tested: npm i axe-core, and name its axe.min.js in AXE_CORE_JS")
	}
	axe, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	ctx := browser(t)
	if err := resize(ctx, 390, 844); err != nil {
		t.Fatal(err)
	}
	const ask = `axe.run({runOnly:['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa','wcag2aaa','best-practice']}).then(r => r.violations.map(v => v.id + ' (' + v.impact + '): ' + v.nodes.map(n => n.target + ' ' + n.failureSummary).join(' | ')).join('\n'))`
	for _, shot := range shots {
		s := httptest.NewServer(handler(webtest.Scene(shot.scene)))
		if err := chromedp.Do(ctx, chromedp.Navigate(s.URL+shot.path)); err != nil && !strings.Contains(err.Error(), "404") {
			t.Fatal(err)
		}
		do(t, ctx, string(axe))
		found, err := chromedp.Run(ctx, chromedp.Evaluate[string](ask, chromedp.EvalAwaitPromise))
		if err != nil || found != "" {
			t.Errorf("%s%s: %v %s", shot.scene, shot.path, err, found)
		}
		_ = chromedp.Do(ctx, chromedp.Navigate("about:blank"))
		s.CloseClientConnections()
		s.Close()
	}
}
