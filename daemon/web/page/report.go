package page

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/csv"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"time"

	"abbed/config/say"
	"abbed/daemon/api"
	"abbed/probe/record"
)

// reportView is a run on paper: all that its screens say, in one file that
// asks nothing of any server.
type reportView struct {
	resultsView
	Printer api.Printer
	Facts   []fact
	Record  record.Run
	Style   template.CSS
	Made    time.Time
	// Repair is what can be done with tools; nil: the run does not tell.
	Repair  *api.Repair
	Version string
}

// report serves a run as one file to keep or send. Its style stands within, so
// the policy names that style, and allows nothing else.
func (p *page) report(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	run, err := p.desk.Run(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	style, err := static.ReadFile("static/report.css")
	if err != nil {
		p.refused(w, r, err)
		return
	}
	v := reportView{resultsView: p.resultsOf(r, run), Printer: p.desk.Printer(), Style: template.CSS(style), Made: time.Now(), Version: p.opts.Version} //nolint:gosec // our own file
	v.Facts = facts(v.Printer)
	v.Record, _ = p.record(id)
	v.Repair, _ = got[api.Repair](p, r)(p.desk.Repair(id, api.AskRepair{}))
	if v.Table != nil {
		v.Figures = append(v.Figures, tableFigure(*v.Table, v.Record)...)
	}
	w.Header().Set("Content-Security-Policy", onlyStyle(string(v.Style)))
	if r.URL.Query().Has("save") {
		w.Header().Set("Content-Disposition", `attachment; filename="abbed-`+run.Began.UTC().Format("2006-01-02-1504")+`.html"`)
	}
	p.show(w, r, "report", screen{Title: "Report of the run of " + say.Moment(run.Began), View: v})
}

// onlyStyle is the policy of a sheet that carries one style and nothing else.
func onlyStyle(style string) string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// touchesCSV serves the touches of a run as abbed runs analyse reads them, with the
// direction of travel as side.
func (p *page) touchesCSV(w http.ResponseWriter, r *http.Request) {
	rec, ok := p.recordFor(w, r)
	if !ok {
		return
	}
	rows := [][]string{{"x", "y", "z", "t", "side", "repeat"}}
	for _, t := range rec.Touches {
		rows = append(rows, []string{plain(t.Place.U), plain(t.Place.V), plain(t.Z), plain(t.T), travelled(t.Side), strconv.Itoa(t.Pass)})
	}
	table(w, "touches", rows)
}

// gaugingsCSV serves the records at the blade: place, height of the nozzle with
// the blade just dragging, blade, and the bed contact, mm; s.
func (p *page) gaugingsCSV(w http.ResponseWriter, r *http.Request) {
	rec, ok := p.recordFor(w, r)
	if !ok {
		return
	}
	rows := [][]string{{"x", "y", "z", "blade", "contact", "t", "place", "visit"}}
	for _, g := range rec.Gaugings {
		rows = append(rows, []string{plain(g.Place.U), plain(g.Place.V), plain(g.Z), plain(g.Blade), plain(g.Z - g.Blade), plain(g.T), strconv.Itoa(g.Spot), strconv.Itoa(g.Visit)})
	}
	table(w, "gaugings", rows)
}

// recordFor reads the record that a request names, or answers with the refusal.
func (p *page) recordFor(w http.ResponseWriter, r *http.Request) (record.Run, bool) {
	id := r.PathValue("id")
	rec, has := p.record(id)
	if !has {
		_, err := p.desk.Record(id)
		if err == nil {
			err = fmt.Errorf("the record of run %q cannot be read", id)
		}
		p.refused(w, r, err)
	}
	return rec, has
}

// table writes rows as CSV (RFC 4180).
func table(w http.ResponseWriter, name string, rows [][]string) {
	h := w.Header()
	h.Set("Content-Type", "text/csv; charset=utf-8; header=present")
	h.Set("Content-Disposition", `attachment; filename="`+name+`.csv"`)
	h.Set("Cache-Control", "no-store")
	_ = csv.NewWriter(w).WriteAll(rows)
}

// plain writes v to 0.0001 for programs.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }

// travelled writes a side as the way the head travelled: towards + means that
// it came from the left or the front.
func travelled(s record.Side) string {
	return map[int8]string{-1: "+x", 1: "-x"}[s.X] + map[int8]string{-1: "+y", 1: "-y"}[s.Y]
}

// All lists the figures of cards and those that no card took, in one row.
func (v reportView) All() []figure {
	var out []figure
	for _, c := range v.Cards {
		if c.Figure != nil {
			out = append(out, *c.Figure)
		}
	}
	return slices.Concat(out, v.Figures)
}
