package e2e_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// size is the window that somebody looks through, px.
type size struct {
	name string
	w, h int64
}

var (
	phone   = size{"390", 390, 844}
	small   = size{"320", 320, 568}
	desktop = size{"1280", 1280, 900}
)

// window is a browser as a person uses it: it sees what is on the screen, and
// presses what can be seen and is not covered, with a finger on a phone and a
// mouse elsewhere. What the browser writes to its console fails the test.
type window struct {
	t    *testing.T
	ctx  context.Context
	size size
	// dir takes the screenshots; "": none are made.
	dir, name string
	shots     int
}

// screensDir is where screenshots go: SCREENS_DIR, or nowhere.
func screensDir() string { return os.Getenv("SCREENS_DIR") }

// newBrowser starts Debian's chromium, or skips the test where there is none
// (not in CI, which installs it).
func newBrowser(t *testing.T, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser is not short")
	}
	if _, err := exec.LookPath("chromium"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is missing, and .ci/run installs it")
		}
		t.Skip("no chromium here: apt-get install chromium")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true))
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), append(opts, more...)...)
	t.Cleanup(cancel)
	return ctx
}

// newWindow opens a window of its own: no cookie is shared with another.
func newWindow(t *testing.T, browser context.Context, s size, name string) *window {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	w := &window{t: t, ctx: ctx, size: s, dir: screensDir(), name: name + "-" + s.name}
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil { // with this context: what starts the browser ends it
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: s.w, Height: s.h, DeviceScaleFactor: 1, Mobile: s.w < 500}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: s.w < 500}); err != nil {
		t.Fatal(err)
	}
	// Another device is looked at, whichever window of this browser is in front.
	if _, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Listen(ctx, w.complaint); err != nil {
		t.Fatal(err)
	}
	return w
}

// complaint fails on a script that failed and on a breach of the policy.
func (w *window) complaint(e any) {
	switch e := e.(type) {
	case *log.EventEntryAdded:
		if e.Entry.Source != log.EntrySourceNetwork { // a refusal's status, or a line that was cut
			w.t.Errorf("%s: the browser says %s: %s", w.name, e.Entry.Level, e.Entry.Text)
		}
	case *runtime.EventExceptionThrown:
		w.t.Errorf("%s: the script failed: %v", w.name, e.ExceptionDetails)
	}
}

// soon bounds what a browser that hangs can take.
func (w *window) soon() (context.Context, context.CancelFunc) {
	return context.WithTimeout(w.ctx, 30*time.Second)
}

func (w *window) do(steps ...chromedp.Action[chromedp.Void]) {
	w.t.Helper()
	ctx, cancel := w.soon()
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		w.t.Fatalf("%s: %v", w.name, err)
	}
}

func (w *window) open(url string) {
	w.t.Helper()
	w.do(chromedp.Navigate(url))
}

// ask evaluates an expression on the screen.
func look[T any](w *window, script string) T {
	w.t.Helper()
	ctx, cancel := w.soon()
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
	if err != nil {
		w.t.Fatalf("%s: %s: %v", w.name, script, err)
	}
	return v
}

// until waits until an expression is true; a screen that is just being left is
// asked again.
func (w *window) until(script string) {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.ctx, 60*time.Second)
	defer cancel()
	for {
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](script))
		if err == nil && ok {
			return
		}
		if ctx.Err() != nil {
			w.picture("failed")
			w.t.Fatalf("%s: never true: %s (%v)\n%s", w.name, script, err, w.text())
		}
		time.Sleep(25 * time.Millisecond) // between two looks; nothing depends on its length
	}
}

// reads waits until a text stands on the screen.
func (w *window) reads(text string) {
	w.t.Helper()
	w.until(fmt.Sprintf(`document.body.innerText.replaceAll('\u00a0', ' ').includes(%q)`, text))
}

// arrives waits until the window shows a screen whose path ends so, as a whole:
// what is read before that may stand on the screen that is just being left.
func (w *window) arrives(path string) {
	w.t.Helper()
	w.until(fmt.Sprintf(`location.pathname.endsWith(%q) && document.readyState === 'complete'`, path))
}

// text is all that stands on the screen.
func (w *window) text() string {
	ctx, cancel := w.soon()
	defer cancel()
	s, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText`))
	return strings.ReplaceAll(s, "\u00a0", " ")
}

// has reports whether something can be pressed.
func (w *window) has(selector string) bool {
	return look[bool](w, fmt.Sprintf(`!!document.querySelector(%q)`, selector))
}

// spot is where something is, and what lies on it.
type spot struct {
	X, Y  float64
	Found bool
	Under string
}

// find brings the first element of a selector into view, by as little as a
// person would scroll, and says where it is and what covers it.
const find = `(sel => { const e = [...document.querySelectorAll(sel)].find(e => e.getClientRects().length && !e.disabled);
	if (!e) return {Found: false};
	let r = e.getBoundingClientRect();
	const own = s => { const bar = document.querySelector(s); return bar && !bar.contains(e) ? bar.getBoundingClientRect() : null; };
	const stop = own('.stopbar'), answers = own('.answers'), high = stop && stop.top < innerHeight / 2;
	const head = high ? stop.bottom : 0, foot = answers ? answers.top : stop && !high ? stop.top : innerHeight;
	if (r.top < head || r.bottom > foot) { e.scrollIntoView({block: 'center'}); r = e.getBoundingClientRect(); }
	const x = r.left + Math.min(r.width / 2, 160), y = r.top + r.height / 2, top = document.elementFromPoint(x, y);
	return {X: x, Y: y, Found: true, Under: top && (e.contains(top) || top.contains(e)) ? '' : 'covered by ' + (top ? top.outerHTML.slice(0, 120) : 'nothing')};
})(%q)`

// press presses what a selector names, where it is seen.
func (w *window) press(selector string) {
	w.t.Helper()
	w.until(fmt.Sprintf(`(%s).Found`, fmt.Sprintf(find, selector)))
	s := look[spot](w, fmt.Sprintf(find, selector))
	if !s.Found || s.Under != "" {
		w.t.Fatalf("%s: %s cannot be pressed: %s", w.name, selector, s.Under)
	}
	if w.size.w >= 500 {
		w.do(chromedp.MouseClickXY(s.X, s.Y))
		return
	}
	for _, e := range []input.DispatchTouchEventParams{
		{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: s.X, Y: s.Y}}},
		{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}},
	} {
		if _, err := chromedp.Call(w.ctx, input.DispatchTouchEvent, e); err != nil {
			w.t.Fatalf("%s: %s: %v", w.name, selector, err)
		}
	}
}

// tickAll ticks every box of a form that is not ticked.
func (w *window) tickAll() {
	w.t.Helper()
	for range 40 {
		n := look[int](w, `document.querySelectorAll('main input[type=checkbox]:not(:checked):not(:disabled)').length`)
		if n == 0 {
			return
		}
		w.press(`main label.tick:has(input[type=checkbox]:not(:checked):not(:disabled))`)
		w.until(fmt.Sprintf(`document.querySelectorAll('main input[type=checkbox]:not(:checked):not(:disabled)').length < %d`, n))
	}
	w.t.Fatalf("%s: the boxes never were all ticked", w.name)
}

// write writes into a field, unless that stands in it already.
func (w *window) write(selector, text string) {
	w.t.Helper()
	if look[string](w, fmt.Sprintf(`document.querySelector(%q).value`, selector)) == text {
		return
	}
	w.press(selector)
	w.do(chromedp.SendKeys(selector, text))
}

// see takes a picture of what is in the window, and of the whole screen. The
// screen may not spill to the right.
func (w *window) see(name string) {
	w.t.Helper()
	// A phone makes the window wider than itself for what spills.
	if spill := look[int](w, `Math.max(document.documentElement.scrollWidth, innerWidth)`) - int(w.size.w); spill > 0 {
		w.t.Errorf("%s: %s spills %d px to the right", w.name, name, spill)
	}
	if !w.has(`form[action^="/do/stop"] button, .stopbar p`) {
		w.t.Errorf("%s: %s says nothing of stopping", w.name, name)
	}
	w.rules(name)
	w.picture(name)
	if *flows {
		w.scheme("dark")
		w.rules(name + "-dark")
		w.picture(name + "-dark")
		w.scheme("light")
	}
}

// scheme has the browser ask for light or dark screens.
func (w *window) scheme(is string) {
	w.t.Helper()
	if _, err := chromedp.Call(w.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: is}}}); err != nil {
		w.t.Fatal(err)
	}
}

// rules holds the screen to axe-core's rules of accessibility, where -flow asks
// for the long way and AXE_CORE_JS names its axe.min.js.
func (w *window) rules(name string) {
	w.t.Helper()
	file := os.Getenv("AXE_CORE_JS")
	if file == "" || !*flows {
		return
	}
	axe, err := os.ReadFile(file)
	if err != nil {
		w.t.Fatal(err)
	}
	w.do(chromedp.Evaluate[chromedp.Void](string(axe)))
	ctx, cancel := w.soon()
	defer cancel()
	found, err := chromedp.Run(ctx, chromedp.Evaluate[string](`Promise.all(document.getAnimations().map(a => a.finished.catch(() => {}))) // colours that are on their way are nobody's
		.then(() => axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'wcag2aaa', 'best-practice']}))
		.then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.target + ' ' + n.failureSummary).join(' | ')).join('\n'))`, chromedp.EvalAwaitPromise))
	if err != nil || found != "" {
		w.t.Errorf("%s: %s: %v %s", w.name, name, err, found)
	}
}

// picture writes the screenshots.
func (w *window) picture(name string) {
	w.t.Helper()
	if w.dir == "" {
		return
	}
	w.shots++
	file := filepath.Join(w.dir, fmt.Sprintf("%s-%02d-%s", w.name, w.shots, name))
	ctx, cancel := w.soon()
	defer cancel()
	view, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err == nil {
		err = os.WriteFile(file+".png", view, 0o644)
	}
	whole, err2 := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err2 == nil {
		err2 = os.WriteFile(file+"-whole.png", whole, 0o644)
	}
	if err != nil || err2 != nil {
		w.t.Errorf("%s: %v %v", file, err, err2)
	}
}
