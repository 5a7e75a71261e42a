package page

import (
	"bytes"
	"errors"
	"html/template"
	"log/slog"
	"net/http"

	"abbed/daemon/access"
	"abbed/daemon/api"
)

// Options are what the page needs beside the desk.
type Options struct {
	// Version of the program.
	Version string
	// Who names the person or program behind a request, for the log of changes; nil, or ""
	// from it: "page" or "api".
	Who func(*http.Request) string
	// Doors let browsers in; nil: the page does not show them.
	Doors Doors
	// Log takes what went wrong inside; nil: slog.Default.
	Log *slog.Logger
}

// By names whoever is behind r.
func (o Options) By(r *http.Request, otherwise string) string {
	if o.Who != nil {
		if name := o.Who(r); name != "" {
			return name
		}
	}
	return otherwise
}

// page serves the screens.
type page struct {
	desk api.Desk
	opts Options
}

// Mount puts the screens, their assets and the handlers of their forms on mux.
// Call forget after each change that was asked for elsewhere: screens are drawn
// once for all who look at the same time.
func Mount(mux *http.ServeMux, desk api.Desk, opts Options) (forget func()) {
	p := &page{desk: desk, opts: opts}
	s := &shared{desk: desk}
	mux.HandleFunc("GET /{$}", s.screen(p.overview))
	mux.HandleFunc("GET /printer", p.printer)
	mux.HandleFunc("GET /room", s.screen(p.room))
	mux.HandleFunc("GET /runs", s.screen(p.runs))
	mux.HandleFunc("GET /run/{id}", s.screen(p.run))
	mux.HandleFunc("GET /run/{id}/results", s.screen(p.results))
	mux.HandleFunc("GET /run/{id}/review", p.review)
	mux.HandleFunc("GET /run/{id}/since/{earlier}", p.since)
	mux.HandleFunc("GET /run/{id}/elsewhere", p.elsewhere)
	mux.HandleFunc("GET /run/{id}/report", p.report)
	mux.HandleFunc("GET /run/{id}/tools", p.tools)
	mux.HandleFunc("GET /run/{id}/proof.gcode", p.proofFile)
	mux.HandleFunc("GET /run/{id}/worksheet", p.worksheet)
	mux.HandleFunc("GET /run/{id}/touches.csv", p.touchesCSV)
	mux.HandleFunc("GET /run/{id}/gaugings.csv", p.gaugingsCSV)
	mux.HandleFunc("GET /applied", p.applied)
	mux.HandleFunc("GET /static/{file}", asset)
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/static/mark.svg", http.StatusMovedPermanently)
	})
	acts := map[string]http.HandlerFunc{
		"open": p.doOpen, "run": p.doRun, "run/{id}/confirm": p.doConfirm, "run/{id}/withdraw": p.doWithdraw,
		"run/{id}/answer": p.doAnswer, "run/{id}/gauge": p.doGauge, "run/{id}/thickness": p.doThickness, "run/{id}/signoff": p.doSignOff,
		"apply/{digest}": p.doApply, "undo": p.doUndo, "prove": p.doProve, "reapply": p.doReapply, "resolve": p.doResolve,
	}
	if opts.Doors != nil {
		acts["device"], acts["pair"] = p.doDevice, p.doPair
	}
	for path, act := range acts {
		mux.HandleFunc("POST /do/"+path, p.posted(act))
	}
	mux.HandleFunc("POST /do/stop", p.doStop)
	mux.HandleFunc("/", p.nothing)
	return s.forget
}

// screen is what every template gets.
type screen struct {
	Title string
	// Name is the printer's.
	Name string
	// Here is the screen's own path.
	Here string
	// Active is the run that is not over, if any.
	Active *api.Run
	// Events is the event stream that the script follows, Poll the seconds
	// after which it looks again without one; "" and 0: it rests.
	Events string
	Poll   int
	// Again is the seconds after which a browser without script loads anew.
	Again int
	// AtGauge: a thumb answers at the bottom, so that the stop is at the top.
	AtGauge bool
	// Awake: somebody is needed, so that the screen does not go dark.
	Awake bool
	// Notice is a refusal to show above all.
	Notice *api.Error
	// Alone: the refusal is all there is.
	Alone bool
	Owed  []string
	Todo  []api.Todo
	Stop  string
	// Going is what a stop ends now; "": there is nothing to stop.
	Going   string
	Version string
	View    any
}

// begin gathers what all screens share.
func (p *page) begin(r *http.Request, title string) screen {
	s := screen{Title: title, Here: r.URL.Path, Stop: api.StopSentence, Version: p.opts.Version}
	printer := p.desk.Printer()
	s.Name, s.Todo, s.Owed, s.Going = printer.Name, printer.Todo, printer.Owed, printer.Going
	runs, err := p.desk.Runs()
	if err != nil {
		s.Notice = p.refusal(r, err)
	}
	for i := range runs {
		if !runs[i].State.Over() {
			s.Active = &runs[i]
			break
		}
	}
	return s
}

// show writes a screen with the named template.
func (p *page) show(w http.ResponseWriter, r *http.Request, name string, s screen) {
	status := http.StatusOK
	if s.Notice != nil && s.Notice.Status >= 400 {
		status = s.Notice.Status
	}
	if err := write(w, name, status, s); err != nil {
		p.opts.Log.Error("page: "+name, "path", r.URL.Path, "cause", err)
		http.Error(w, "abbed could not make this screen; its log says why. To stop the printer, use its power switch.", http.StatusInternalServerError)
	}
}

// write writes a screen, or nothing if it cannot be made.
func write(w http.ResponseWriter, name string, status int, s screen) error {
	var b bytes.Buffer
	if err := screens().ExecuteTemplate(&b, name, s); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
	return nil
}

// Enter shows the screen of a one-time link, for access.Options.
func Enter(w http.ResponseWriter, r *http.Request, e access.Entrance) {
	s := screen{Title: "Let this browser in", Here: "/", Stop: api.StopSentence, View: e}
	if err := write(w, "enter", http.StatusOK, s); err != nil {
		http.Error(w, "abbed could not make this screen.", http.StatusInternalServerError)
	}
}

// Shut shows a refusal at the door, for access.Options: nothing of the printer
// is on it, and whoever lacks a session can type a code.
func Shut(w http.ResponseWriter, r *http.Request, e *api.Error) {
	s := screen{Title: "Not done", Here: r.URL.Path, Stop: api.StopSentence, Notice: e, Alone: true, View: e.Status == http.StatusUnauthorized}
	if err := write(w, "shut", e.Status, s); err != nil {
		http.Error(w, e.Text, e.Status)
	}
}

// refusal finds the api.Error in err, with what to do on the page, or makes one of what is
// no refusal.
func (p *page) refusal(r *http.Request, err error) *api.Error {
	var e *api.Error
	if errors.As(err, &e) && e != nil {
		here := *e
		here.Hint = api.HintAt(api.Page, e)
		return &here
	}
	p.opts.Log.Error("page: the desk failed", "path", r.URL.Path, "cause", err)
	return api.Errorf(http.StatusInternalServerError, "internal", "read abbed's log, and report the fault", "abbed made a mistake of its own")
}

// got is what the desk answers, or its refusal.
func got[T any](p *page, r *http.Request) func(T, error) (*T, *api.Error) {
	return func(answer T, err error) (*T, *api.Error) {
		if err != nil {
			return nil, p.refusal(r, err)
		}
		return &answer, nil
	}
}

// refused shows nothing but a refusal.
func (p *page) refused(w http.ResponseWriter, r *http.Request, err error) {
	s := p.begin(r, "Not done")
	s.Notice, s.Alone = p.refusal(r, err), true
	p.show(w, r, "refused", s)
}

// nothing answers a path that is no screen.
func (p *page) nothing(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		p.refused(w, r, api.Errorf(http.StatusMethodNotAllowed, "not-allowed", "go back and use the buttons", "%s takes no %s", r.URL.Path, r.Method))
		return
	}
	p.refused(w, r, api.Errorf(http.StatusNotFound, "not-found", "open the overview", "there is no screen %s", r.URL.Path))
}

// template.HTML is what pictures are; the alias keeps views short.
type svg = template.HTML
