package web_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

var everyView = flag.Bool("views", false, "every screen in every view, with axe-core in each (a few minutes)")

// view is a window that a screen is looked at in.
type view struct {
	name   string
	w, h   int64
	scheme string
	// axe: looked at with axe-core in the ordinary run too.
	axe bool
}

// views are the smallest phone, a phone and a desk, in light and in dark; a desk's
// window at 200 % zoom, which leaves half the room (WCAG 2.2, 1.4.4); and the smallest
// phone on its side.
var views = []view{
	{"320", 320, 568, "light", false}, {"320 dark", 320, 568, "dark", true}, {"390", 390, 844, "light", false}, {"390 dark", 390, 844, "dark", false},
	{"1280", 1280, 900, "light", false}, {"1280 dark", 1280, 900, "dark", false}, {"zoomed", 640, 450, "light", false},
	{"side", 568, 320, "light", false},
}

// Every screen in every state, in every view: nothing spills to the right or is
// cut off, what can be pressed is 44 px or more either way, the stop request
// is at its edge and can be pressed, text has a contrast of 7:1 or better
// (WCAG 2.2, 1.4.6), also twice as large it fits a phone, nothing moves for who
// wants no motion, and axe-core finds nothing.
func TestEveryScreen(t *testing.T) {
	ctx := browser(t)
	axe := axeCore(t)
	for _, shot := range shots {
		leave := shot.open(t, ctx, nil)
		paper := strings.HasSuffix(shot.path, "/report")
		do(t, ctx, `for (const d of document.querySelectorAll('details')) d.open = true`)
		if axe != "" {
			do(t, ctx, axe)
		}
		for _, v := range views {
			if err := resize(ctx, v.w, v.h); err != nil {
				t.Fatal(err)
			}
			media(t, ctx, v.scheme, "reduce")
			if bad := eval[string](t, ctx, fmt.Sprintf(fits, v.w)); bad != "" {
				t.Errorf("%v, %s: %s", shot, v.name, bad)
			}
			if !paper {
				if bad := eval[string](t, ctx, stopBar); bad != "" {
					t.Errorf("%v, %s: %s", shot, v.name, bad)
				}
			}
			readable(t, ctx, fmt.Sprintf("%v, %s", shot, v.name))
			if axe != "" && (v.axe || *everyView) {
				if found, err := chromedp.Run(ctx, chromedp.Evaluate[string](askAxe, chromedp.EvalAwaitPromise)); err != nil || found != "" {
					t.Errorf("%v, %s: %v %s", shot, v.name, err, found)
				}
			}
		}
		large(t, ctx, shot, paper)
		leave()
	}
}

// askAxe asks once the window's size has been heard of, which a loaded machine does late.
const askAxe = `new Promise(requestAnimationFrame).then(() => axe.run({runOnly:['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa','wcag2aaa','best-practice']})).then(r => r.violations.map(v => v.id + ' (' + v.impact + '): ' + v.nodes.map(n => n.target + ' ' + n.failureSummary).join(' | ')).join('\n'))`

// axeCore is the text of axe-core, which AXE_CORE_JS names (npm i axe-core;
// third-party code is never committed); "" without it, which CI does not allow.
func axeCore(t *testing.T) string {
	t.Helper()
	file := os.Getenv("AXE_CORE_JS")
	if file == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("AXE_CORE_JS names no axe.min.js, and .ci/run installs it")
		}
		t.Log("without axe-core: npm i axe-core, and name its axe.min.js in AXE_CORE_JS")
		return ""
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// fits names what spills, what is cut off, and what is too small to be pressed.
const fits = `(() => { const bad = [], wide = %d;
	if (document.documentElement.scrollWidth > wide || innerWidth > wide) bad.push('spills to ' + Math.max(innerWidth, document.documentElement.scrollWidth) + ' px');
	for (const e of document.querySelectorAll('button, a.button, nav a, .stages a, .list a, input:not([type=hidden]):not([type=checkbox]):not([type=radio]), textarea, select, label.tick, summary')) {
		const r = e.getBoundingClientRect();
		if (r.width && (r.width < 43.99 || r.height < 43.99)) bad.push('small: ' + (e.textContent.trim() || e.name) + ' ' + r.width + 'x' + r.height);
	}
	for (const e of document.querySelectorAll('input[type=checkbox], input[type=radio]')) if (e.getClientRects().length && !e.closest('label.tick')) bad.push('small: ' + e.name);
	for (const e of document.querySelectorAll('button, a.button, .stages a')) if (e.scrollWidth > e.clientWidth + 1) bad.push('beyond its edge: ' + e.textContent.trim());
	for (const e of document.querySelectorAll('main *')) if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX === 'hidden' && !e.matches('.hide')) bad.push('cut: ' + e.textContent.slice(0, 40));
	return bad.join('; '); })()`

// stopBar says what is wrong with the stop request: it is at the bottom, and while a thumb
// answers there at the top.
const stopBar = `(() => { const b = document.querySelector('button.stop, .stopbar p'), r = b.getBoundingClientRect();
	const high = document.documentElement.matches('.at-gauge');
	if (r.top < 0 || r.bottom > innerHeight || (high ? r.bottom > innerHeight / 3 : r.top < innerHeight / 2)) return 'the stop request is not at its edge';
	const top = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
	return b.contains(top) ? '' : 'something lies on the stop request'; })()`

// painted lists each pair of colours in which a text stands on the screen.
const painted = `(() => { const out = {};
	const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (!/, 0\)$|transparent/.test(c)) return c; } return 'rgb(255, 255, 255)'; };
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n; n = walk.nextNode();) {
		const e = n.parentElement;
		if (!n.textContent.trim() || !e.getClientRects().length || e.closest('title, .hide, noscript, progress')) continue;
		const s = getComputedStyle(e);
		out[(e.closest('svg') ? s.fill : s.color) + ' on ' + ground(e)] = n.textContent.trim().slice(0, 30);
	}
	return out; })()`

var rgb = regexp.MustCompile(`rgb\((\d+), (\d+), (\d+)\)`)

// readable holds every text as it is painted to a contrast of 7:1.
func readable(t *testing.T, ctx context.Context, where string) {
	t.Helper()
	pairs := eval[map[string]string](t, ctx, painted)
	if len(pairs) == 0 {
		t.Errorf("%s: no text", where)
	}
	for pair, text := range pairs {
		m := rgb.FindAllStringSubmatch(pair, -1)
		if len(m) != 2 {
			t.Errorf("%s: %q is in %s, whose contrast cannot be told", where, text, pair)
			continue
		}
		if r := contrast(hex(m[0]), hex(m[1])); !(r >= 7) {
			t.Errorf("%s: %q is in %s: %.2f", where, text, pair, r)
		}
	}
}

// hex writes three decimal numbers of a match as #rrggbb.
func hex(m []string) string {
	out := "#"
	for _, s := range m[1:] {
		n, _ := strconv.Atoi(s)
		out += fmt.Sprintf("%02x", n)
	}
	return out
}

// large holds a phone's screen with text twice ours, and the motion on it.
func large(t *testing.T, ctx context.Context, shot shot, paper bool) {
	t.Helper()
	if err := resize(ctx, 390, 844); err != nil {
		t.Fatal(err)
	}
	const moving = `[...document.querySelectorAll('*')].filter(e => parseFloat(getComputedStyle(e).transitionDuration) > 0 || getComputedStyle(e).animationName !== 'none').length`
	if n := eval[int](t, ctx, moving); n > 0 {
		t.Errorf("%v: %d things move all the same", shot, n)
	}
	media(t, ctx, "light", "no-preference")
	if n := eval[int](t, ctx, moving); n == 0 && !paper && eval[int](t, ctx, `document.querySelectorAll('button').length`) > 0 {
		t.Errorf("%v: nothing moves at all: this test cannot fail", shot)
	}
	do(t, ctx, `document.documentElement.style.fontSize = '225%'`)
	if wide := eval[int](t, ctx, `Math.max(document.documentElement.scrollWidth, innerWidth)`); wide > 390 {
		t.Errorf("%v: with text twice as large it is %d px wide", shot, wide)
	}
}
