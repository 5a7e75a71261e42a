package web_test

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"abbed/analysis/proof"
	"abbed/gcode/patches"
)

// The worksheet of the demo's printer, two patches at each place, is one sheet of either
// paper: a second one gets lost at the bench. SCREENS_DIR takes the prints.
func TestWorksheetIsOneSheet(t *testing.T) {
	s := patches.Defaults()
	s.Nozzle, s.Bed = 210, 60
	bed := patches.Rect{X1: 235, Y1: 235}
	p, err := patches.Plan(s, bed, bed, patches.Rect{X0: 8, Y0: 45, X1: 227, Y1: 227}, 117.5, 117.5, func(offered [][2]float64) (out []int) {
		for i := range proof.Places {
			out = append(out, i)
		}
		return out
	})
	if err != nil || len(p.Patches) != 2*proof.Places {
		t.Fatal(len(p.Patches), err)
	}
	ctx := browser(t)
	for name, c := range map[patches.Paper]struct{ w, h float64 }{patches.A4: {210 / 25.4, 297 / 25.4}, patches.Letter: {8.5, 11}} {
		site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			if err := p.Sheet(w, name); err != nil {
				t.Error(err)
			}
		}))
		defer site.Close()
		open(t, ctx, site.URL)
		made, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: c.w, PaperHeight: c.h, PreferCSSPageSize: new(true)})
		if err != nil {
			t.Fatal(err)
		}
		if dir := os.Getenv("SCREENS_DIR"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, "worksheet-"+string(name)+".pdf"), made.Data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if n := len(regexp.MustCompile(`/MediaBox `).FindAll(made.Data, -1)); n != 1 {
			t.Errorf("%s: %d sheets", name, n)
		}
	}
}
