package web_test

import (
	"crypto/sha256"
	"encoding/base64"
	"math"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"abbed/analysis/given"
	"abbed/daemon/api"
	"abbed/daemon/web/webtest"
)

// A report asks nothing of any server, carries no script, and its policy lets
// through its own style and nothing else.
func TestReportStandsAlone(t *testing.T) {
	for _, scene := range []string{"done", "worn", "hostile"} {
		w := get(t, handler(webtest.Scene(scene)), "/run/r1/report")
		html := w.Body.String()
		if w.Code != 200 {
			t.Fatalf("%s: status %d", scene, w.Code)
		}
		leads := regexp.MustCompile(`(?i)^<(script|link|img|form|a)\b|\s(src|href|style|on[a-z]+)=`)
		for _, tag := range tags.FindAllString(html, -1) {
			if bad := leads.FindString(quoted.ReplaceAllString(tag, `""`)); bad != "" {
				t.Errorf("%s: %s stands in it", scene, tag)
			}
		}
		_, rest, _ := strings.Cut(html, "<style>")
		style, _, _ := strings.Cut(rest, "</style>")
		if strings.Contains(style, "url(") || strings.Contains(style, "@import") {
			t.Errorf("%s: the style fetches", scene)
		}
		sum := sha256.Sum256([]byte(style))
		if csp := w.Header().Get("Content-Security-Policy"); !strings.HasPrefix(csp, "default-src 'none'") || !strings.Contains(csp, "sha256-"+base64.StdEncoding.EncodeToString(sum[:])) {
			t.Errorf("%s: the policy %q does not name the style", scene, csp)
		}
	}
	html := get(t, handler(webtest.Scene("done")), "/run/r1/report").Body.String()
	for _, want := range []string{"the beam is twisted", "Why the bed map cannot show it", "With the correction", "The first layer does not stick there.", webtest.Digest, "95 % interval", "Before you take a tool in hand", "under every front screw", "Measure again: repeat"} {
		if !strings.Contains(html, want) {
			t.Errorf("%q is missing", want)
		}
	}
}

// The touches come back from the CSV as they were.
func TestTouchesComeBack(t *testing.T) {
	w := get(t, handler(webtest.Scene("done")), "/run/r1/touches.csv")
	back, err := given.ReadCSV(w.Body)
	if err != nil || len(back) != 24+123+20+175+7 {
		t.Fatalf("%d touches, %v", len(back), err)
	}
	// The scene's repeat test comes from left, right, front, back in turn.
	for i, want := range [][2]int8{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
		if s := back[i].Side; s.X != want[0] || s.Y != want[1] || math.Abs(back[i].Place.U-117.5) > 1e-9 || back[i].T != 4*float64(i+1) {
			t.Errorf("touch %d: %+v", i, back[i])
		}
	}
	g := get(t, handler(webtest.Scene("done")), "/run/r1/gaugings.csv").Body.String()
	if n := strings.Count(g, "\n"); n != 21 || !strings.HasPrefix(g, "x,y,z,blade,contact,t,place,visit\n117.5000,117.5000,") {
		t.Errorf("%d lines: %.80s", n, g)
	}
	if w := get(t, handler(webtest.Scene("done")), "/run/none/touches.csv"); w.Code != 404 {
		t.Errorf("of no run: %d", w.Code)
	}
}

// After a correction was kept, proving it is the step in hand; once proved, the
func TestProveIsTheLastStep(t *testing.T) {
	d := webtest.Scene("kept")
	step := func() string {
		m := regexp.MustCompile(`<li class="(\w+)"[^>]*><a href="/applied">verify</a>`).FindStringSubmatch(get(t, handler(d), "/run/r1/results").Body.String())
		if m == nil {
			return "missing"
		}
		return m[1]
	}
	if got := step(); got != "now" {
		t.Errorf("kept: prove is %s", got)
	}
	d.Change(func(s *webtest.Show) { s.Applied.Proved = true })
	if got := step(); got != "done" {
		t.Errorf("proved: prove is %s", got)
	}
	if w := send(handler(d), "/do/reapply", url.Values{}); w.Code != 422 || slices.Contains(d.Asked(), `Reapply "page"`) {
		t.Errorf("re-apply without a word that nothing was worked on: %d, asked %q", w.Code, d.Asked())
	}
	if w := send(handler(d), "/do/reapply", url.Values{"sure": {"yes"}}); w.Code != 303 || !slices.Contains(d.Asked(), `Reapply "page"`) {
		t.Errorf("re-apply: %d, asked %q", w.Code, d.Asked())
	}
}

// Without a known lever nothing is drawn of a tilt, and a gap within its doubt
// is no tilt either. Nor does a head tilt whose beam only sags, or whose Y axis rolls.
func TestNoTiltThatIsNotTold(t *testing.T) {
	for name, how := range map[string]func(*webtest.Show){
		"lever": func(s *webtest.Show) { r := s.Records["r1"]; r.Setup.LeverUnknown = true; s.Records["r1"] = r },
		"doubt": func(s *webtest.Show) {
			s.Gap = func(u, v float64) api.Gap { g, d := 0.01, 0.02; return api.Gap{Gap: &g, U95: &d} }
		},
		"sag": func(s *webtest.Show) { found(s, "beam-pitch") }, "a rolling Y axis": func(s *webtest.Show) { found(s, "bed-roll") },
	} {
		d := webtest.Scene("done")
		d.Change(how)
		if strings.Contains(get(t, handler(d), "/run/r1/results").Body.String(), "Why the bed map cannot show it") {
			t.Errorf("%s: drawn all the same", name)
		}
	}
}

// found makes a machine's first finding another.
func found(s *webtest.Show, id string) {
	a := s.Analyses["r1"]
	a.Findings = slices.Clone(a.Findings)
	a.Findings[0].ID = id
	s.Analyses["r1"] = a
}

// On the width of A4 (180 mm within margins) and Letter (186 mm) nothing spills.
func TestReportFitsPaper(t *testing.T) {
	ctx := browser(t)
	s := httptest.NewServer(handler(webtest.Scene("done")))
	defer s.Close()
	for _, px := range []int64{680, 703} { // at 96 px an inch
		if err := resize(ctx, px, 1000); err != nil {
			t.Fatal(err)
		}
		open(t, ctx, s.URL+"/run/r1/report")
		until(t, ctx, `document.documentElement.scrollWidth <= innerWidth && getComputedStyle(document.querySelector('.picture .main')).stroke === 'rgb(11, 79, 85)'`)
	}
}

// It prints on A4 and on Letter: each page has the paper's size, and the report
// is a few pages long. SCREENS_DIR takes the prints.
func TestReportPrints(t *testing.T) {
	ctx := browser(t)
	s := httptest.NewServer(handler(webtest.Scene("done")))
	defer s.Close()
	open(t, ctx, s.URL+"/run/r1/report")
	for _, paper := range []struct {
		name string
		w, h float64 // inches
		box  string  // points
	}{{"A4", 210 / 25.4, 297 / 25.4, `/MediaBox \[0 0 59[45][.0-9]* 84[12][.0-9]*\]`}, {"Letter", 8.5, 11, `/MediaBox \[0 0 612 792\]`}} {
		made, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: paper.w, PaperHeight: paper.h})
		if err != nil {
			t.Fatal(err)
		}
		b := made.Data
		if dir := os.Getenv("SCREENS_DIR"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, "report-"+paper.name+".pdf"), b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		sheets := len(regexp.MustCompile(paper.box).FindAll(b, -1))
		if sheets < 2 || sheets > 8 {
			t.Errorf("%s: %d sheets of that size in %d bytes", paper.name, sheets, len(b))
		}
	}
}

// Two devices see the same: what one does shows on the other.
func TestTwoDevices(t *testing.T) {
	one := browser(t)
	two, cancel := chromedp.NewContext(one)
	defer cancel()
	d := webtest.Scene("gauge")
	url, _ := site(t, d)
	open(t, one, url+"/run/r1")
	if err := chromedp.Do(two, chromedp.Navigate(url+"/run/r1")); err != nil {
		t.Fatal(err)
	}
	do(t, one, `document.querySelector('button[value=drags]').click()`)
	until(t, one, `!document.querySelector('button[value=drags]').disabled`)
	if got := d.Asked(); !slices.Equal(got, []string{`Gauge "r1" {"action":"drags"}`}) {
		t.Fatalf("asked %q", got)
	}
	d.Change(func(s *webtest.Show) {
		p := *s.Runs[0].Place
		p.Records, p.Heights = 2, []float64{0.031, 0.024}
		s.Runs[0].State, s.Runs[0].Place, s.Runs[0].Number = api.AwaitingNext, &p, 421
	})
	for _, ctx := range []struct{ name string }{{"one"}, {"two"}} {
		c := one
		if ctx.name == "two" {
			c = two
		}
		until(t, c, says+`'hands and gauge are out')`)
	}
	_ = chromedp.Do(two, chromedp.Navigate("about:blank"))
}

// A gap error that a first layer bears is not said to spoil it, and where nothing
// is to be decided nothing is offered.
func TestHealthyIsCalm(t *testing.T) {
	html := get(t, handler(webtest.Scene("healthy")), "/run/r1/results").Body.String()
	for _, want := range []string{"of it everywhere gauged", "Nothing to mend"} {
		if !strings.Contains(html, want) {
			t.Errorf("%q is missing", want)
		}
	}
	for _, never := range []string{"does not stick", "digs in there", "<h3>Repair", "Review the correction"} {
		if strings.Contains(html, never) {
			t.Errorf("%q is said", never)
		}
	}
}
