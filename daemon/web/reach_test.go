package web_test

import (
	"context"
	"encoding/json"
	"net/http/httptest"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"abbed/daemon/web/webtest"
)

// visit opens a screen of a scene in a window of w x h px; close leaves it.
func visit(t *testing.T, ctx context.Context, scene, path string, w, h int64) (d *webtest.Desk, leave func()) {
	t.Helper()
	if err := resize(ctx, w, h); err != nil {
		t.Fatal(err)
	}
	d = webtest.Scene(scene)
	s := httptest.NewServer(handler(d))
	if err := chromedp.Do(ctx, chromedp.Navigate(s.URL+path)); err != nil && !strings.Contains(err.Error(), "404") {
		t.Fatal(err)
	}
	return d, func() {
		_ = chromedp.Do(ctx, chromedp.Navigate("about:blank"))
		s.CloseClientConnections()
		s.Close()
	}
}

// eval evaluates an expression that gives a T.
func eval[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
	if err != nil {
		t.Fatalf("%.80s: %v", script, err)
	}
	return v
}

// media has the browser say what its owner prefers.
func media(t *testing.T, ctx context.Context, scheme, motion string) {
	t.Helper()
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: motion},
	}}); err != nil {
		t.Fatal(err)
	}
}

// reachable names whatever a mouse could press, in the order of the page; of a
// group of radio buttons one, since the arrow keys go on from there.
const reachable = `(() => { window.all = [...document.querySelectorAll('a[href], button:not(:disabled), input:not([type=hidden]):not(:disabled), select:not(:disabled), textarea, summary, [tabindex="0"]')]
	.filter(e => e.checkVisibility({visibilityProperty: true}))
	.filter((e, i, all) => e.type !== 'radio' || all.findIndex(x => x.name === e.name) === i);
	return window.all.length; })()`

// followed notes, for each thing that gets the focus, which of them it is and
// what is wrong with how that shows: an outline of 2 px or more, and not below
// the stop request (WCAG 2.2, 2.4.7, 2.4.11, 2.4.13).
const followed = `window.went = []; document.addEventListener('focusin', () => {
	const e = document.activeElement, s = getComputedStyle(e), r = e.getBoundingClientRect(), wrong = [];
	const bar = document.querySelector('.stopbar'), b = bar.getBoundingClientRect(), answers = document.querySelector('.answers');
	const top = b.top > 0 ? 0 : b.bottom, foot = answers ? answers.getBoundingClientRect().top : b.top;
	if (s.outlineStyle === 'none' || parseFloat(s.outlineWidth) < 2) wrong.push('its focus does not show');
	if (!bar.contains(e) && !(answers && answers.contains(e)) && !e.matches('.skip') && (r.top >= foot - 1 || r.bottom <= top)) wrong.push('it lies out of sight');
	window.went.push({N: window.all.indexOf(e), What: e.tagName + ' ' + (e.textContent || e.name || '').trim().slice(0, 40), Wrong: wrong.join('; ')}); })`

// The keyboard alone reaches everything that a mouse could press, in the order
// in which it stands there, and where one is shows: on every screen.
func TestKeyboardReachesAll(t *testing.T) {
	ctx := browser(t)
	if err := resize(ctx, 390, 844); err != nil {
		t.Fatal(err)
	}
	for _, shot := range shots {
		if strings.HasSuffix(shot.path, "/report") {
			continue // nothing is pressed on paper
		}
		leave := shot.open(t, ctx, nil)
		n := eval[int](t, ctx, reachable)
		if n < 4 {
			t.Fatalf("%v: only %d things to press", shot, n)
		}
		do(t, ctx, followed)
		if err := chromedp.Do(ctx, chromedp.KeyEvent(strings.Repeat("\t", n))); err != nil {
			t.Fatal(err)
		}
		went := eval[[]struct {
			N           int
			What, Wrong string
		}](t, ctx, `window.went`)
		if len(went) != n {
			t.Errorf("%v: %d tabs led to %d things", shot, n, len(went))
		}
		for i, at := range went {
			if at.N != i || at.Wrong != "" {
				t.Errorf("%v: the %d. tab is at %d, %s: %s", shot, i+1, at.N, at.What, at.Wrong)
				break
			}
		}
		leave()
	}
}

// The keyboard alone ticks, gauges, and reads values off a picture.
func TestKeyboardActs(t *testing.T) {
	ctx := browser(t)
	keys := func(s string) {
		t.Helper()
		if err := chromedp.Do(ctx, chromedp.KeyEvent(s)); err != nil {
			t.Fatal(err)
		}
	}
	d, leave := visit(t, ctx, "gauge", "/run/r1", 390, 844)
	do(t, ctx, `document.querySelector('button[value=loose]').focus()`)
	keys("\r")
	// The focus stays where it was: on the button while it rests, and on its new
	// shape once the move was answered. Only the latter says that it was asked for.
	until(t, ctx, `document.activeElement.matches('button[value=loose]:not(:disabled)')`)
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"loose"}`}) {
		t.Errorf("asked %q", got)
	}
	leave()
	_, leave = visit(t, ctx, "confirm", "/run/r1", 390, 844)
	do(t, ctx, `document.querySelector('input[type=checkbox]').focus()`)
	keys(" ")
	until(t, ctx, `document.querySelector('input[type=checkbox]').checked`)
	leave()
	_, leave = visit(t, ctx, "done", "/run/r1/results", 390, 844)
	do(t, ctx, `document.querySelectorAll('details').forEach(d => d.open = true)`)
	do(t, ctx, `[...document.querySelectorAll('svg.picture')].find(p => p.querySelector('.values')).focus()`)
	read := map[string]bool{}
	for _, arrow := range []string{"\u0303", "\u0303", "\u0301"} { // right, right, down: kb.ArrowRight, kb.ArrowDown
		keys(arrow)
		text := eval[string](t, ctx, `(document.querySelector('.value') || {textContent: ''}).textContent`)
		if !strings.Contains(text, "mm") {
			t.Errorf("after an arrow the picture says %q", text)
		}
		read[text] = true
	}
	if len(read) < 2 {
		t.Errorf("the arrows lead nowhere: %v", read)
	}
	leave()
}

// A finger on a picture shows the value there, that of the record.
func TestValueUnderTheFinger(t *testing.T) {
	ctx := browser(t)
	_, leave := visit(t, ctx, "done", "/run/r1/results", 390, 844)
	defer leave()
	do(t, ctx, `document.querySelectorAll('details').forEach(d => d.open = true)`)
	at := eval[struct{ X, Y float64 }](t, ctx, `(() => { const p = [...document.querySelectorAll('figure')].find(f => f.textContent.includes('The bed map as probed')).querySelector('svg');
		p.scrollIntoView({block: 'center'}); const r = p.getBoundingClientRect(); return {X: r.left + r.width / 2, Y: r.top + r.height / 2}; })()`)
	if err := chromedp.Do(ctx, chromedp.MouseClickXY(at.X, at.Y)); err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`^x ([0-9.]+) mm, y ([0-9.]+) mm: (.[0-9.]+) mm$`).FindStringSubmatch(eval[string](t, ctx, `document.querySelector('.value').textContent`))
	if m == nil {
		t.Fatalf("no value: %q", eval[string](t, ctx, `document.querySelector('.value').textContent`))
	}
	b, err := webtest.Scene("done").Record("r1")
	if err != nil {
		t.Fatal(err)
	}
	var rec struct {
		Touches []struct {
			Place struct{ U, V float64 }
			Z     float64
		}
	}
	if err := json.Unmarshal(b, &rec); err != nil {
		t.Fatal(err)
	}
	x, _ := strconv.ParseFloat(m[1], 64)
	y, _ := strconv.ParseFloat(m[2], 64)
	z, _ := strconv.ParseFloat(strings.Replace(m[3], "\u2212", "-", 1), 64)
	for _, touch := range rec.Touches {
		if abs(touch.Place.U-x) < 0.06 && abs(touch.Place.V-y) < 0.06 && abs(touch.Z-z) < 0.0006 {
			return
		}
	}
	t.Errorf("no touch of the record is %q", m[0])
}

func abs(v float64) float64 { return max(v, -v) }

// Without a script everything can be read, a screen that changes loads itself
// anew, and a form does its work.
func TestWithoutScript(t *testing.T) {
	ctx := browser(t)
	if _, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		t.Fatal(err)
	}
	_, leave := visit(t, ctx, "done", "/run/r1/results", 390, 844)
	for _, want := range []string{"the beam is twisted", "What to do", "Review the correction", "Times are in"} {
		if !strings.Contains(eval[string](t, ctx, `document.body.innerText`), want) {
			t.Errorf("%q is not read", want)
		}
	}
	if n := eval[int](t, ctx, `document.querySelectorAll('svg.picture[aria-label]').length`); n < 6 {
		t.Errorf("%d pictures", n)
	}
	leave()
	_, leave = visit(t, ctx, "survey", "/run/r1", 390, 844)
	if !eval[bool](t, ctx, `!!document.querySelector('meta[http-equiv=refresh]')`) {
		t.Error("a run that goes on does not load itself anew")
	}
	leave()
	d, leave := visit(t, ctx, "gauge", "/run/r1", 390, 844)
	defer leave()
	if err := chromedp.Do(ctx, chromedp.Click(`button[value=drags]`)); err != nil {
		t.Fatal(err)
	}
	for range 200 { // at most until the time-out of the test; each look is a round trip
		if len(d.Asked()) > 0 {
			break
		}
		_ = eval[string](t, ctx, `document.title`)
	}
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"drags"}`}) {
		t.Errorf("asked %q", got)
	}
}
