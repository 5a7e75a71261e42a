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

	"abbed/daemon/api"
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
	do(t, ctx, `document.querySelector('button.lower').click()`)
	<-moving
	d.Change(func(s *webtest.Show) { s.Runs[0].Place.Z, s.Runs[0].Number = 0.47, 421 })
	until(t, ctx, says+`'0.254')`) // heard while the move goes on
	if n := eval[int](t, ctx, `document.querySelectorAll('form[data-live] button:not(:disabled)').length`); n > 0 {
		t.Errorf("%d buttons can be pressed while the machine moves", n)
	}
	close(end)
	until(t, ctx, `!document.querySelector('button.lower').disabled`)
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"lower","mm":0.085}`}) {
		t.Errorf("asked %q", got)
	}
}

// A second Enter after a record is no move: what comes next has to be read, and
// reached, first.
func TestSecondEnterMovesNothing(t *testing.T) {
	ctx := browser(t)
	d, leave := visit(t, ctx, "gauge", "/run/r1", 390, 844)
	defer leave()
	d.Change(func(s *webtest.Show) { s.Runs[0].State, s.Runs[0].Number = api.AwaitingGauge, 421 })
	do(t, ctx, `document.querySelector('button[value=record]').focus()`)
	d.Change(func(s *webtest.Show) { s.Runs[0].State, s.Runs[0].Number = api.AwaitingNext, 422 })
	until(t, ctx, `!!document.querySelector('button[value=next]')`)
	for _, key := range []string{"\r", "\r"} {
		if err := chromedp.Do(ctx, chromedp.KeyEvent(key)); err != nil {
			t.Fatal(err)
		}
	}
	if at := eval[string](t, ctx, `document.activeElement.textContent`); !strings.Contains(at, "Take blade and hand out") {
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

// At the blade, on every phone down to the smallest, upright or on its side, and on a
// desk, all that is pressed, and how far it is, stands above the stop request, without
// scrolling; and so does what is pressed after a record.
func TestBladeWithoutScrolling(t *testing.T) {
	ctx := browser(t)
	for scene, all := range map[string][]string{
		"gauge": {"button.lower", "button.raise", "button[value=record]", "p.big"}, "below": {"button.lower", "button.raise", "button[value=record]", "p.big"},
		"next": {"section.next h1", "button[value=next]"},
	} {
		_, leave := visit(t, ctx, scene, "/run/r1", 320, 568)
		for _, size := range [][2]int64{{320, 568}, {360, 640}, {375, 667}, {390, 844}, {568, 320}, {640, 360}, {667, 375}, {844, 390}, {1280, 800}} {
			if err := resize(ctx, size[0], size[1]); err != nil {
				t.Fatal(err)
			}
			if bad := eval[string](t, ctx, stopBar) + eval[string](t, ctx, fmt.Sprintf(fits, size[0])); bad != "" {
				t.Errorf("%s at %v: %s", scene, size, bad)
			}
			for _, sel := range all {
				if n := eval[int](t, ctx, `document.querySelectorAll('`+sel+`').length`); n == 0 {
					t.Fatalf("%s: no %s", scene, sel)
				}
				if hidden := eval[int](t, ctx, `(bar => [...document.querySelectorAll('`+sel+`')].filter(b => { const r = b.getBoundingClientRect();
					return r.top < 0 || r.bottom > bar || !b.contains(document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2)); }).length)
					(document.querySelector('.stopbar').getBoundingClientRect().top)`); hidden > 0 || eval[int](t, ctx, `scrollY`) != 0 {
					t.Errorf("%s at %v: %d of %s are out of reach", scene, size, hidden, sel)
				}
			}
		}
		leave()
	}
}
