package web_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"abbed/daemon/api"
	"abbed/daemon/web/webtest"
)

// The desk works by what the person measured of the machine, and keeps what was
// typed; what is no length or place is named, and the rest of the page stands.
func TestDeskForYourMachine(t *testing.T) {
	d := webtest.Scene("done")
	body := get(t, handler(d), "/run/r1/tools?mounting=300&spacing=20,5&supports=30,30+205,30+117.5,205&pitch=0,8").Body.String()
	if got := d.Asked(); !slices.Equal(got, []string{`Repair "r1" {"Mounting":300,"Spacing":20.5,"Width":0,"Height":0,"Rails":0,"Supports":[{"x":30,"y":30},{"x":205,"y":30},{"x":117.5,"y":205}],"Pitch":0.8}`}) {
		t.Errorf("asked %q", got)
	}
	for _, kept := range []string{`name="mounting" inputmode="decimal" value="300"`, `value="30,30 205,30 117.5,205"`, `name="pitch" inputmode="decimal" value="0,8"`} {
		if !strings.Contains(body, kept) {
			t.Errorf("%s is not kept", kept)
		}
	}
	empty := get(t, handler(webtest.Scene("done")), "/run/r1/tools").Body.String()
	for _, field := range []string{"mounting", "spacing", "width", "height", "rails", "supports", "pitch"} {
		if !strings.Contains(empty, `<input name="`+field+`"`) {
			t.Errorf("before anything is typed there is no field for %s", field)
		}
	}
	for _, bad := range []string{"mounting=long", "supports=30", "supports=a,b", "supports=9000,1", "rails=1e9"} {
		body := get(t, handler(webtest.Scene("done")), "/run/r1/tools?"+bad).Body.String()
		_, what, _ := strings.Cut(bad, "=")
		if !strings.Contains(body, "&#34;"+what+"&#34;") || !strings.Contains(body, "Before you take a tool in hand") {
			t.Errorf("%s: not said, or the page does not stand", bad)
		}
	}
}

// After the work the desk says what a later run says against earlier ones.
func TestDeskMeasuresAgain(t *testing.T) {
	d := webtest.Scene("done")
	if body := get(t, handler(d), "/run/r1/tools").Body.String(); !strings.Contains(body, "Measure again") || strings.Contains(body, "Since earlier runs") {
		t.Error("without an earlier run")
	}
	d.Change(func(s *webtest.Show) {
		was := s.Runs[0]
		was.ID, was.State, was.Touches, was.Began = "r0", api.Done, 300, s.Runs[0].Began.Add(-24*time.Hour)
		s.Runs = append(s.Runs, was)
		s.Compared = api.Comparison{Before: "r0", After: "r1", Sentence: "The twist fell from 0.46 to 0.02 deg, beyond the doubt of both.", Come: []string{"drift"}}
	})
	body := get(t, handler(d), "/run/r1/tools").Body.String()
	for _, says := range []string{`href="/run/r1/since/r0"`, "beyond the doubt of both", "Something new was found"} {
		if !strings.Contains(body, says) {
			t.Errorf("it does not say %s", says)
		}
	}
}

// The report that one keeps holds the desk, cautions first.
func TestReportHoldsTheDesk(t *testing.T) {
	d := webtest.Scene("done")
	body := get(t, handler(d), "/run/r1/report").Body.String()
	from := strings.Index(body, "Before any work: switch off, unplug")
	for _, says := range []string{"check it on a flat reference first", "Put a shim of 0.16 mm", "<h3>Measure again"} {
		if i := strings.Index(body, says); i < 0 || i < from || from < 0 {
			t.Errorf("%q does not stand in the report behind the cautions", says)
		}
	}
}
