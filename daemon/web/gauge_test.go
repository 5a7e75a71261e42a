package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"

	"abbed/daemon/web/webtest"
)

// While a move is under way nothing else can be pressed, whatever else is heard
// meanwhile; once it was answered, what was read before it is not shown any more.
func TestOneMoveAtATime(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("gauge")
	h := handler(d)
	moving, end := make(chan struct{}), make(chan struct{})
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost {
			close(moving)
			<-end
		}
		h.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	open(t, ctx, s.URL+"/run/r1")
	do(t, ctx, `document.querySelector('button[value=loose]').click()`)
	<-moving
	d.Change(func(s *webtest.Show) { s.Runs[0].Place.Z, s.Runs[0].Number = 0.47, 421 })
	until(t, ctx, `document.getElementById('main').textContent.includes('Nozzle 0.470')`) // heard while the move goes on
	until(t, ctx, says+`'The nozzle moves. Wait.')`)
	if n := eval[int](t, ctx, `document.querySelectorAll('form[data-live] button:not(:disabled)').length`); n > 0 {
		t.Errorf("%d buttons can be pressed while the machine moves", n)
	}
	close(end)
	until(t, ctx, `!document.querySelector('button[value=loose]').disabled`)
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"loose"}`}) {
		t.Errorf("asked %q", got)
	}
}

// becomes shows what another scene shows of its run.
func becomes(d *webtest.Desk, scene string, number int64) {
	runs, _ := webtest.Scene(scene).Runs()
	d.Change(func(s *webtest.Show) { s.Runs[0], s.Runs[0].Number = runs[0], number })
}

// A second Enter after a reading is no move: what comes next has to be read, and
// reached, first.
func TestSecondEnterMovesNothing(t *testing.T) {
	ctx := browser(t)
	d, leave := visit(t, ctx, "gauge", "/run/r1", 390, 844)
	defer leave()
	do(t, ctx, `document.querySelector('button[value=drags]').focus()`)
	becomes(d, "next", 422)
	until(t, ctx, `!!document.querySelector('button[value=next]')`)
	for _, key := range []string{"\r", "\r"} {
		if err := chromedp.Do(ctx, chromedp.KeyEvent(key)); err != nil {
			t.Fatal(err)
		}
	}
	if at := eval[string](t, ctx, `document.activeElement.textContent`); !strings.Contains(at, "Take hand and gauge out") {
		t.Errorf("the focus is on %q", at)
	}
	until(t, ctx, `!document.querySelector('button[value=next]').disabled`)
	if got := d.Asked(); len(got) > 0 {
		t.Errorf("asked %q", got)
	}
	// One step of the keyboard further is the button.
	if err := chromedp.Do(ctx, chromedp.KeyEvent("\t\r")); err != nil {
		t.Fatal(err)
	}
	until(t, ctx, `document.activeElement.matches('button[value=next]:not(:disabled)')`)
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"next"}`}) {
		t.Errorf("asked %q", got)
	}
}

// Next comes where drags was: the finger that pressed the one cannot press the other
// before it is read.
func TestNextIsNotPressedByTheSameFinger(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("gauge")
	h := handler(d)
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost {
			becomes(d, "next", 421)
		}
		h.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	open(t, ctx, s.URL+"/run/r1")
	do(t, ctx, `new MutationObserver(() => { const b = document.querySelector('button[value=next]'); if (b) window.rested ??= b.disabled; }).observe(document.body, {childList: true, subtree: true})`)
	tap(t, ctx, "button[value=drags]")
	until(t, ctx, `!!document.querySelector('button[value=next]:not(:disabled)')`)
	if !eval[bool](t, ctx, `window.rested`) {
		t.Error("next could be pressed at once")
	}
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"drags"}`}) {
		t.Errorf("asked %q", got)
	}
}

// A stop request that the network swallows (it arrives, and no answer comes back)
// is sent again until one does.
func TestStopOverALineThatAnswersNothing(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("survey")
	h := handler(d)
	var swallowed atomic.Int64
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/api/v1/stop" && swallowed.Add(1) == 1 {
			<-r.Context().Done()
			return
		}
		h.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	open(t, ctx, s.URL+"/run/r1")
	do(t, ctx, `document.querySelector('button.stop').click()`)
	until(t, ctx, `document.querySelector('[data-said]').innerText.startsWith('The stop request went out')`)
	if got := d.Asked(); !slices.Equal(got, []string{`Stop "api"`}) || swallowed.Load() != 2 {
		t.Errorf("asked %q after %d that were swallowed", got, swallowed.Load()-1)
	}
}

// The answers are where one thumb reaches them, on every phone down to the smallest,
// upright or on its side, and on a desk: in the lower third, 90 px high or more, covered by
// nothing, and with nothing else to press within 24 px, however far one has scrolled. The
// stop is at the upper edge meanwhile, and the sentence in sight.
func TestThumbReachesTheAnswers(t *testing.T) {
	ctx := browser(t)
	for scene, n := range map[string]int{"gauge": 3, "first": 3, "next": 1, "detour": 1, "moving": 3} {
		_, leave := visit(t, ctx, scene, "/run/r1", 320, 568)
		do(t, ctx, `for (const d of document.querySelectorAll('details')) d.open = true`)
		for _, size := range [][2]int64{{320, 568}, {360, 640}, {375, 667}, {390, 844}, {568, 320}, {640, 360}, {667, 375}, {844, 390}, {1280, 800}} {
			if err := resize(ctx, size[0], size[1]); err != nil {
				t.Fatal(err)
			}
			if bad := eval[string](t, ctx, stopBar) + eval[string](t, ctx, fmt.Sprintf(fits, size[0])); bad != "" {
				t.Errorf("%s at %v: %s", scene, size, bad)
			}
			for _, far := range []string{"0", "60", "120", "1e6"} {
				do(t, ctx, `scrollTo(0, `+far+`)`)
				if bad := eval[string](t, ctx, fmt.Sprintf(thumb, n, far)); bad != "" {
					t.Errorf("%s at %v, scrolled by %s: %s", scene, size, far, bad)
				}
			}
		}
		leave()
	}
}

// thumb says what is wrong with the answers.
const thumb = `((n, scrolled) => { const bad = [], all = [...document.querySelectorAll('.answers button')], foreign = {};
	if (all.length !== n) bad.push(all.length + ' answers');
	for (const b of all) {
		const r = b.getBoundingClientRect();
		if (r.height < 90 || r.width < 90) bad.push(b.value + ' is ' + r.width + 'x' + r.height);
		if (r.top < innerHeight * 2 / 3 || r.bottom > innerHeight) bad.push(b.value + ' reaches from ' + r.top + ' to ' + r.bottom);
		for (let x = r.left - 23; x < r.right + 24; x += 4) for (let y = r.top - 23; y < r.bottom + 24; y += 4) {
			const e = document.elementFromPoint(x, y), at = e && e.closest('a, button, input, select, summary, label, svg.picture');
			const within = x > r.left + 8 && x < r.right - 8 && y > r.top + 8 && y < r.bottom - 8;
			if (within ? at !== b : at && !at.closest('.answers')) foreign[at ? at.textContent.trim().slice(0, 40) : 'nothing'] = 1;
		}
	}
	for (const f in foreign) bad.push(f + ' is on it, or within 24 px');
	const bar = document.querySelector('.stopbar').getBoundingClientRect(), h = document.querySelector('[data-part=step] h1').getBoundingClientRect();
	if (bar.top !== 0 || bar.left !== 0 || bar.right < document.documentElement.clientWidth) bad.push('the stop is not at the upper edge, from side to side');
	if (!scrolled && n && (h.top < bar.bottom || h.bottom > innerHeight * 2 / 3 - 24)) bad.push('the sentence is out of sight');
	return bad.join('; '); })(%d, %s)`
