package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/web/webtest"
)

// browser starts Debian's chromium, or skips the test where there is none.
func browser(t *testing.T) context.Context {
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
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatal(err)
	}
	return ctx
}

// site serves a desk under the strict policy; while it is cut, every request
// is broken off.
func site(t *testing.T, d *webtest.Desk) (url string, cut *atomic.Bool) {
	cut = new(atomic.Bool)
	h := handler(d)
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if cut.Load() {
			panic(http.ErrAbortHandler)
		}
		w.Header().Set("Content-Security-Policy", policy)
		h.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	return s.URL, cut
}

// until waits until a script's expression is true.
func until(t *testing.T, ctx context.Context, what string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	for {
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](what))
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if ok {
			return
		}
		select {
		case <-ctx.Done():
			t.Fatalf("never true: %s", what)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func do(t *testing.T, ctx context.Context, script string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](script)); err != nil {
		t.Fatalf("%s: %v", script, err)
	}
}

func open(t *testing.T, ctx context.Context, url string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.Navigate(url)); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, `window.same = true`) // gone if the screen is loaded anew
	t.Cleanup(func() { _ = chromedp.Do(ctx, chromedp.Navigate("about:blank")) })
}

const says = `document.getElementById('main').innerText.includes(`

// What changes shows without the screen being loaded anew; a lost connection is
// said, and made good.
func TestLive(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("survey")
	url, cut := site(t, d)
	open(t, ctx, url+"/run/r1")
	until(t, ctx, says+`'74 of 175')`)
	d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done, s.Runs[0].Number = 75, 691 })
	until(t, ctx, says+`'75 of 175')`)
	// What somebody opened stays open, though the numbers beside it change.
	do(t, ctx, `document.querySelector('[data-part=step] details').open = true`)
	d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done, s.Runs[0].Number = 76, 692 })
	until(t, ctx, says+`'76 of 175') && !!document.querySelector('[data-part=step] details[open]')`)
	cut.Store(true)
	d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done, s.Runs[0].Number = 80, 700 })
	until(t, ctx, `document.getElementById('line').innerText.startsWith('No connection')`)
	cut.Store(false)
	until(t, ctx, says+`'80 of 175')`)
	until(t, ctx, `document.getElementById('line').hidden`)
	d.Change(func(s *webtest.Show) { s.Runs[0].State, s.Runs[0].Step, s.Runs[0].Number = api.Done, "analysis", 812 })
	until(t, ctx, says+`'See the findings')`)
	until(t, ctx, `window.same === true`)
}

// An answer is sent once, without loading the screen anew, and what
// was ticked stays ticked while other things change.
func TestPress(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("gauge")
	url, _ := site(t, d)
	open(t, ctx, url+"/run/r1")
	do(t, ctx, `document.querySelector('button[value=loose]').click()`)
	until(t, ctx, `!document.querySelector('button[value=loose]').disabled && window.same === true`)
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"loose"}`}) {
		t.Errorf("asked %q", got)
	}
	d.Change(func(s *webtest.Show) {
		s.Refuse = map[string]error{"Gauge": api.Errorf(422, "too-high", "skip this point", "this is higher than where the nozzle arrived")}
	})
	// The screen may be drawn anew under the finger; a refused press is pressed again.
	until(t, ctx, says+`'igher than where the nozzle arrived') && window.same === true ||
		(b => { if (b && !b.disabled) b.click(); return false })(document.querySelector('button[value=loose]'))`)
}

// A browser that was not let in is told so, by what access answers to a script.
func TestPressAtTheDoor(t *testing.T) {
	ctx := browser(t)
	a, _, err := access.Open(access.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	d := webtest.Scene("gauge")
	s := httptest.NewUnstartedServer(nil)
	if s.Config.Handler, err = a.Guard(s.Listener.Addr().String(), handler(d)); err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	open(t, ctx, s.URL+"/run/r1")
	do(t, ctx, `document.querySelector('button[value=loose]').click()`)
	until(t, ctx, `document.getElementById('line').innerText.includes('abbed access pair')`)
	until(t, ctx, `!document.querySelector('button[value=loose]').disabled`)
	if got := d.Asked(); len(got) != 0 {
		t.Errorf("asked %q", got)
	}
}

func TestTickedStaysTicked(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("confirm")
	url, _ := site(t, d)
	open(t, ctx, url+"/run/r1")
	do(t, ctx, `document.querySelector('input[type=checkbox]').click()`)
	d.Change(func(s *webtest.Show) { s.Runs[0].Number++; s.Printer.Owed = []string{"limits"} })
	until(t, ctx, says+`'Home the printer first')`)
	until(t, ctx, `document.querySelector('input[value=bed-clear]').checked`)
	// Another device confirms: the form gives way.
	d.Change(func(s *webtest.Show) { s.Runs[0].State, s.Runs[0].Number = api.Running, 9 })
	until(t, ctx, `!document.querySelector('input[value=bed-clear]')`)
}

// A stop request is sent again until it is answered.
func TestStopIsTriedAgain(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("survey")
	url, cut := site(t, d)
	open(t, ctx, url+"/run/r1")
	cut.Store(true)
	do(t, ctx, `document.querySelector('button.stop').click()`)
	until(t, ctx, `document.querySelector('[data-said]').innerText.includes('attempt 2')`)
	if n := len(d.Asked()); n != 0 {
		t.Fatalf("asked %d times over a line that was cut", n)
	}
	cut.Store(false)
	until(t, ctx, `document.querySelector('[data-said]').innerText.startsWith('The stop request went out')`)
	if got := d.Asked(); !slices.Equal(got, []string{`Stop "api"`}) {
		t.Errorf("asked %q", got)
	}
}

// When a reading was made far down a small phone, what comes next is read from its
// beginning.
func TestNextIsReadFromItsBeginning(t *testing.T) {
	ctx := browser(t)
	if err := resize(ctx, 320, 568); err != nil {
		t.Fatal(err)
	}
	d := webtest.Scene("gauge")
	url, _ := site(t, d)
	open(t, ctx, url+"/run/r1")
	do(t, ctx, `document.querySelector('button[value=skip]').scrollIntoView()`)
	until(t, ctx, `scrollY > 100`)
	becomes(d, "next", 421)
	until(t, ctx, `(h => h.innerText.includes('Take hand and gauge out') && h.getBoundingClientRect().top >= document.querySelector('.stopbar').getBoundingClientRect().bottom && h.getBoundingClientRect().bottom < innerHeight / 2)(document.querySelector('[data-part=step] h1') || {innerText: ''})`)
}

// A window that nobody looks at holds no line; when it is looked at again, it
// shows what came meanwhile.
func TestHiddenWindowHoldsNoLine(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("survey")
	h := handler(d)
	var streams atomic.Int64
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/events") {
			streams.Add(1)
			defer streams.Add(-1)
		}
		h.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	open(t, ctx, s.URL+"/run/r1")
	hide := func(hidden string) {
		do(t, ctx, `Object.defineProperty(document, 'hidden', {value: `+hidden+`, configurable: true}); document.dispatchEvent(new Event('visibilitychange'))`)
	}
	wait := func(n int64) {
		t.Helper()
		for streams.Load() != n {
			if t.Context().Err() != nil {
				t.Fatalf("%d streams, want %d", streams.Load(), n)
			}
			_ = eval[bool](t, ctx, `true`) // a round trip; the test's own time-out ends it
		}
	}
	wait(1)
	hide("true")
	wait(0)
	d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done, s.Runs[0].Number = 99, 900 })
	hide("false")
	until(t, ctx, says+`'99 of 175')`)
	wait(1)
}

// A stream that breaks off while the line is well is no lost connection: nothing
// is said, what came meanwhile is shown, and the stream is opened again.
func TestBrokenStreamIsNoLostLine(t *testing.T) {
	ctx := browser(t)
	d := webtest.Scene("survey")
	h := handler(d)
	var streams atomic.Int64
	cut := make(chan struct{})
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasSuffix(r.URL.Path, "/events") || streams.Add(1) > 1 {
			h.ServeHTTP(w, r)
			return
		}
		ctx, cancel := context.WithCancel(r.Context())
		defer cancel()
		go func() {
			select {
			case <-cut:
				cancel()
			case <-ctx.Done():
			}
		}()
		h.ServeHTTP(w, r.WithContext(ctx))
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	open(t, ctx, s.URL+"/run/r1")
	do(t, ctx, `window.said = []; new MutationObserver(() => said.push(line.textContent)).observe(document.getElementById('line'), {childList: true, characterData: true, subtree: true})`)
	for streams.Load() < 1 {
		_ = eval[bool](t, ctx, `true`)
	}
	close(cut)
	for streams.Load() < 2 {
		_ = eval[bool](t, ctx, `true`)
	}
	d.Change(func(s *webtest.Show) { s.Runs[0].Progress.Done, s.Runs[0].Number = 99, 900 })
	until(t, ctx, says+`'99 of 175')`)
	if said := eval[[]string](t, ctx, `window.said`); len(said) > 0 {
		t.Errorf("said %q", said)
	}
}
