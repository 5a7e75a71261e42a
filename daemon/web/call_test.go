package web_test

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"abbed/daemon/api"
	"abbed/daemon/web/webtest"
)

// counting replaces what calls a person by what counts it, before any script of the page.
const counting = `window.calls = {tones: 0, contexts: 0, shakes: 0, lit: 0, dark: 0};
	Object.defineProperty(navigator, 'vibrate', {value: () => ++calls.shakes});
	Object.defineProperty(navigator, 'wakeLock', {value: {request: async kind => {
		if (kind !== 'screen') throw new Error(kind);
		const lock = new EventTarget();
		calls.lit++;
		calls.last = lock;
		lock.release = async () => { calls.dark++; lock.dispatchEvent(new Event('release')); };
		return lock; }}});
	const Plain = window.AudioContext;
	window.AudioContext = class extends Plain {
		constructor() { super(); calls.contexts++; }
		createOscillator() { calls.tones++; return super.createOscillator(); } };`

// before has the browser run a script before any of the page's own.
func before(t *testing.T, ctx context.Context, script string) {
	t.Helper()
	if _, err := chromedp.Call(ctx, page.Enable, page.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script}); err != nil {
		t.Fatal(err)
	}
}

// tap is a press of a person, which a script's click is not.
func tap(t *testing.T, ctx context.Context, selector string) {
	t.Helper()
	at := eval[struct{ X, Y float64 }](t, ctx, fmt.Sprintf(`(r => ({X: r.left + r.width / 2, Y: r.top + r.height / 2}))(document.querySelector(%q).getBoundingClientRect())`, selector))
	if err := chromedp.Do(ctx, chromedp.MouseClickXY(at.X, at.Y)); err != nil {
		t.Fatal(err)
	}
}

// When the machine comes to wait for the person the device calls, by a tone and a shake:
// never before somebody has touched it, since browsers refuse that, and once each time.
// After an answer it says shortly that the nozzle has moved.
func TestDeviceCallsThePerson(t *testing.T) {
	ctx := browser(t)
	before(t, ctx, counting)
	d := webtest.Scene("moving")
	url, _ := site(t, d)
	open(t, ctx, url+"/run/r1")
	called := func(when string, tones, shakes int) {
		t.Helper()
		if got := eval[[]int](t, ctx, `[calls.tones, calls.shakes]`); got[0] != tones || got[1] != shakes {
			t.Errorf("%s: %d tones and %d shakes, want %d and %d", when, got[0], got[1], tones, shakes)
		}
	}
	until(t, ctx, says+`'Touch the screen once')`)
	becomes(d, "gauge", 421)
	until(t, ctx, `!!document.querySelector('button[value=drags]:not(:disabled)')`)
	do(t, ctx, `document.querySelector('.at').click()`) // by a script
	called("before anybody has touched it", 0, 0)
	if n := eval[int](t, ctx, `calls.contexts`); n != 0 {
		t.Errorf("%d sounds were prepared before anybody has touched it", n)
	}
	becomes(d, "moving", 422)
	until(t, ctx, says+`'Moving to the next point')`)
	tap(t, ctx, "h1")
	until(t, ctx, `calls.contexts === 1 && document.querySelector('[data-quiet]').hidden`)
	called("while the machine moves", 0, 0)
	becomes(d, "gauge", 423)
	until(t, ctx, `!!document.querySelector('button[value=drags]:not(:disabled)')`)
	called("at the gauge", 2, 1)
	d.Change(func(s *webtest.Show) {
		at := *s.Runs[0].Place
		at.Z, s.Runs[0].Place, s.Runs[0].Number = 0.3, &at, 424
	})
	until(t, ctx, `document.getElementById('main').textContent.includes('Nozzle 0.300')`)
	called("at the same point", 2, 1)
	tap(t, ctx, "button[value=loose]")
	until(t, ctx, `calls.tones === 3 && !document.querySelector('button[value=loose]').disabled`)
	called("after the move", 3, 2)
	d.Change(func(s *webtest.Show) {
		s.Refuse = map[string]error{"Gauge": api.Errorf(422, "too-high", "skip this point", "higher than where the nozzle arrived")}
	})
	until(t, ctx, `!document.querySelector('button[value=tight]').disabled`)
	tap(t, ctx, "button[value=tight]")
	until(t, ctx, says+`'igher than where the nozzle arrived')`)
	called("after a refusal", 3, 2)
	becomes(d, "next", 425)
	until(t, ctx, `!!document.querySelector('button[value=next]:not(:disabled)')`)
	called("at next", 5, 3)
	becomes(d, "survey", 426)
	until(t, ctx, says+`'You can go now.')`)
	called("when nobody is needed", 5, 3)
}

// The word that the machine may move is given without leaving the screen: whoever gave it
// has touched this screen, and can be called.
func TestConfirmedDeviceCanCall(t *testing.T) {
	ctx := browser(t)
	before(t, ctx, counting)
	d := webtest.Scene("confirm")
	url, _ := site(t, d)
	open(t, ctx, url+"/run/r1")
	do(t, ctx, `document.querySelector('input[name=person]').value = 'Ida'; document.querySelector('input[value=bed-clear]').click(); document.querySelector('form[action$="/confirm"] button').scrollIntoView({block: 'center'})`)
	tap(t, ctx, `form[action$="/confirm"] button`)
	until(t, ctx, `window.same === true && calls.contexts === 1 && !document.querySelector('form[action$="/confirm"] button').disabled`)
	if got := d.Asked(); !slices.Equal(got, []string{`Confirm "r1" {"cautions":["bed-clear"],"person":"Ida","gauge_mm":0.1}`}) {
		t.Errorf("asked %q", got)
	}
	becomes(d, "gauge", 421)
	until(t, ctx, `calls.tones === 2 && calls.shakes === 1`)
}

// The screen stays lit while somebody is needed: asked for again after it was hidden, and
// let go of when the person may go.
func TestScreenStaysLit(t *testing.T) {
	ctx := browser(t)
	before(t, ctx, counting)
	d := webtest.Scene("moving")
	url, _ := site(t, d)
	open(t, ctx, url+"/run/r1")
	until(t, ctx, `calls.lit === 1`)
	hide := func(hidden string) {
		do(t, ctx, `Object.defineProperty(document, 'hidden', {value: `+hidden+`, configurable: true}); document.dispatchEvent(new Event('visibilitychange'))`)
	}
	becomes(d, "gauge", 421)
	until(t, ctx, `!!document.querySelector('button[value=drags]:not(:disabled)')`)
	if n := eval[int](t, ctx, `calls.lit`); n != 1 {
		t.Errorf("asked for %d times", n)
	}
	hide("true")
	until(t, ctx, `calls.dark === 1`)
	hide("false")
	until(t, ctx, `calls.lit === 2`)
	do(t, ctx, `calls.last.release()`) // the browser takes it, as it does when a window is hidden
	becomes(d, "next", 422)
	until(t, ctx, `calls.lit === 3`)
	becomes(d, "survey", 423)
	until(t, ctx, `calls.dark === 3`)
	hide("true")
	hide("false")
	until(t, ctx, says+`'You can go now.')`)
	if n := eval[int](t, ctx, `calls.lit`); n != 3 {
		t.Errorf("kept lit while nobody is needed: %d", n)
	}
}

// A browser that has none of it, or refuses it, works all the same.
func TestDeviceThatCannotCall(t *testing.T) {
	for name, script := range map[string]string{
		"none":    `for (const k of ['vibrate', 'wakeLock']) Object.defineProperty(navigator, k, {value: undefined}); window.AudioContext = window.webkitAudioContext = undefined;`,
		"refuses": `Object.defineProperty(navigator, 'wakeLock', {value: {request: async () => { throw new DOMException('no', 'NotAllowedError'); }}});`,
	} {
		ctx := browser(t)
		if err := chromedp.Listen(ctx, func(e any) { complaint(t, name, e) }); err != nil {
			t.Fatal(err)
		}
		before(t, ctx, script+` addEventListener('unhandledrejection', e => console.error(e.reason), true); window.failed = 0; addEventListener('unhandledrejection', () => failed++);`)
		d := webtest.Scene("moving")
		url, _ := site(t, d)
		open(t, ctx, url+"/run/r1")
		tap(t, ctx, "h1")
		becomes(d, "gauge", 421)
		until(t, ctx, `!!document.querySelector('button[value=loose]:not(:disabled)')`)
		tap(t, ctx, "button[value=loose]")
		until(t, ctx, `!document.querySelector('button[value=loose]').disabled`)
		if got := d.Asked(); len(got) != 1 {
			t.Errorf("%s: asked %q", name, got)
		}
		if n := eval[int](t, ctx, `failed`); n != 0 {
			t.Errorf("%s: %d promises failed", name, n)
		}
	}
}
