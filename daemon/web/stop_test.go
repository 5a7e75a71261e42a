package web_test

import (
	"net/http/httptest"
	"strings"
	"testing"

	"abbed/daemon/api"
	"abbed/daemon/web"
	"abbed/daemon/web/webtest"
)

// slowDesk is a desk that somebody is looking at for long.
type slowDesk struct {
	*webtest.Desk
	begun, hold chan struct{}
}

func (d *slowDesk) Printer() api.Printer {
	d.begun <- struct{}{}
	<-d.hold
	return d.Desk.Printer()
}

// TestStopWaitsForNoScreen: a stop request goes out while a screen is being drawn,
// however long that takes.
func TestStopWaitsForNoScreen(t *testing.T) {
	d := &slowDesk{webtest.Scene("ready"), make(chan struct{}, 9), make(chan struct{})}
	h := web.New(d, web.Options{})
	drawn := make(chan struct{})
	go func() {
		h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", "/", nil))
		close(drawn)
	}()
	<-d.begun
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("POST", "/api/v1/stop", nil)) // for ever, if it waits
	if asked := d.Asked(); w.Code != 202 || len(asked) != 1 || !strings.HasPrefix(asked[0], "Stop") {
		t.Errorf("%d, asked %q", w.Code, asked)
	}
	close(d.hold)
	<-drawn
}

// TestNothingToStop: where nothing of this program goes on, a stop is no error, and
// both fronts say that nothing was sent, and what stops the printer then.
func TestNothingToStop(t *testing.T) {
	d := webtest.Scene("ready")
	d.Change(func(s *webtest.Show) { s.Nothing = "Nothing was sent. What moves is stopped by the power switch." })
	w := ask(t, handler(d), "POST", "/api/v1/stop", "")
	if w.Code != 202 || !strings.Contains(w.Body.String(), `"requested":false`) || !strings.Contains(w.Body.String(), "Nothing was sent.") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	w = ask(t, handler(d), "POST", "/do/stop", "")
	if w.Code != 200 || !strings.Contains(w.Body.String(), "Nothing was sent.") || strings.Contains(w.Body.String(), "request went out") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}
