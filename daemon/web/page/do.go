package page

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"abbed/daemon/api"
)

// maxForm is the largest form that is read, bytes.
const maxForm = 64 << 10

// posted reads the form of a request, whole and with a name that can be shown, before act.
func (p *page) posted(act http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		if err := r.ParseForm(); err != nil {
			p.refused(w, r, api.Errorf(http.StatusBadRequest, "bad-value", "go back and try again", "the form did not arrive complete"))
			return
		}
		if name := r.PostForm.Get("person"); strings.TrimSpace(name) != "" {
			if _, err := api.CheckPerson(name); err != nil {
				p.refused(w, r, err)
				return
			}
		}
		act(w, r)
	}
}

// who names the person behind a form: as they say in it, or as access knows.
func (p *page) who(r *http.Request) string {
	if name := strings.TrimSpace(r.PostFormValue("person")); name != "" {
		return name
	}
	return p.opts.By(r, "page")
}

// decimal reads a number from a form; people write a comma as well.
func decimal(s string) (*float64, *api.Error) {
	s = strings.ReplaceAll(strings.TrimSpace(s), ",", ".")
	if s == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || v != v || v > 1e6 || v < -1e6 {
		return nil, api.Errorf(http.StatusUnprocessableEntity, "bad-value", "write a number in mm, for example 0.10", "%q is not a number", s)
	}
	return &v, nil
}

// leads goes back to a screen after a form was done (RFC 9110 15.4.4).
func leads(w http.ResponseWriter, r *http.Request, to string) {
	http.Redirect(w, r, to, http.StatusSeeOther)
}

func (p *page) doOpen(w http.ResponseWriter, r *http.Request) {
	person := strings.TrimSpace(r.PostFormValue("person"))
	if person == "" {
		p.showOverview(w, r, nameless())
		return
	}
	if err := p.desk.OpenPort(r.Context(), api.Open{Person: person}); err != nil {
		p.showOverview(w, r, p.refusal(r, err))
		return
	}
	leads(w, r, "/")
}

func nameless() *api.Error {
	return api.Errorf(http.StatusUnprocessableEntity, "bad-value", "write your name", "the name is missing")
}

func (p *page) doRun(w http.ResponseWriter, r *http.Request) {
	n := api.NewRun{Steps: r.PostForm["step"], Quick: r.PostForm.Get("quick") == "yes", For: r.PostForm.Get("for")}
	if r.PostFormValue("heat") != "" {
		nozzle, bad := decimal(r.PostFormValue("heat_nozzle"))
		bed, worse := decimal(r.PostFormValue("heat_bed"))
		if bad == nil {
			bad = worse
		}
		if bad != nil {
			p.showOverview(w, r, bad)
			return
		}
		n.Heat = &api.Heat{Nozzle: nozzle, Bed: bed}
	}
	if len(n.Steps) == 0 {
		p.showOverview(w, r, api.Errorf(http.StatusUnprocessableEntity, "bad-value", "choose what to measure", "nothing is chosen"))
		return
	}
	run, err := p.desk.StartRun(r.Context(), n, p.who(r))
	if err != nil {
		p.showOverview(w, r, p.refusal(r, err))
		return
	}
	leads(w, r, "/run/"+run.ID)
}

// doWithdraw gives up a run that nobody has confirmed.
func (p *page) doWithdraw(w http.ResponseWriter, r *http.Request) {
	if err := p.desk.Withdraw(r.Context(), r.PathValue("id"), p.who(r)); err != nil {
		p.runDone(w, r, err)
		return
	}
	leads(w, r, "/")
}

// runDone shows the run again after a form: by a redirect, or with the refusal.
func (p *page) runDone(w http.ResponseWriter, r *http.Request, err error) {
	id := r.PathValue("id")
	if err != nil {
		p.showRun(w, r, id, p.refusal(r, err))
		return
	}
	leads(w, r, "/run/"+id)
}

func (p *page) doConfirm(w http.ResponseWriter, r *http.Request) {
	c := api.Confirm{Cautions: r.PostForm["caution"], Person: strings.TrimSpace(r.PostFormValue("person"))}
	if c.Person == "" {
		p.runDone(w, r, nameless())
		return
	}
	thick, bad := decimal(r.PostFormValue("gauge_mm"))
	if bad != nil {
		p.runDone(w, r, bad)
		return
	}
	c.Gauge, c.Paper = thick, r.PostFormValue("with") == "paper"
	p.runDone(w, r, p.desk.Confirm(r.Context(), r.PathValue("id"), c))
}

func (p *page) doAnswer(w http.ResponseWriter, r *http.Request) {
	a := api.AnswerPrompt{Prompt: r.PostFormValue("prompt"), Answer: r.PostFormValue("answer")}
	value, bad := decimal(r.PostFormValue("value"))
	if bad != nil {
		p.runDone(w, r, bad)
		return
	}
	if a.Answer == "yes" {
		a.Value = value
	}
	p.runDone(w, r, p.desk.Answer(r.Context(), r.PathValue("id"), a, p.who(r)))
}

// doGauge says what is felt at the gauge. Its button says which: "loose".
func (p *page) doGauge(w http.ResponseWriter, r *http.Request) {
	rc := http.NewResponseController(w)
	_ = rc.SetReadDeadline(noDeadline)
	_ = rc.SetWriteDeadline(noDeadline)
	_, err := p.desk.Gauge(r.Context(), r.PathValue("id"), api.GaugeAction{Action: r.PostFormValue("press")})
	p.runDone(w, r, err)
}

// doSignOff signs off the table that was shown, by its digest, and shows the
// one button that writes it. The token stands in that screen only.
func (p *page) doSignOff(w http.ResponseWriter, r *http.Request) {
	id, person := r.PathValue("id"), strings.TrimSpace(r.PostFormValue("person"))
	if person == "" {
		p.showReview(w, r, id, nameless(), nil, "")
		return
	}
	so, err := p.desk.SignOff(r.Context(), r.PostFormValue("digest"), api.SignOff{Cautions: r.PostForm["caution"], Person: person})
	if err != nil {
		p.showReview(w, r, id, p.refusal(r, err), nil, "")
		return
	}
	p.showReview(w, r, id, nil, &so, person)
}

// appliedDone shows what stands in the printer after a form.
func (p *page) appliedDone(w http.ResponseWriter, r *http.Request, err error) {
	if err != nil {
		p.showApplied(w, r, p.refusal(r, err))
		return
	}
	leads(w, r, "/applied")
}

func (p *page) doApply(w http.ResponseWriter, r *http.Request) {
	p.appliedDone(w, r, p.desk.Apply(context.WithoutCancel(r.Context()), r.PathValue("digest"), api.Apply{Token: r.PostFormValue("token")}, p.who(r)))
}

// doProve opens the run that proves the correction, and shows it.
func (p *page) doProve(w http.ResponseWriter, r *http.Request) {
	run, err := p.desk.Prove(r.Context(), p.who(r))
	if err != nil {
		p.appliedDone(w, r, err)
		return
	}
	leads(w, r, "/run/"+url.PathEscape(run.ID))
}

// doReapply puts the correction in force onto the map that the printer has now.
func (p *page) doReapply(w http.ResponseWriter, r *http.Request) {
	if r.PostFormValue("sure") != "yes" {
		p.appliedDone(w, r, api.Errorf(http.StatusUnprocessableEntity, "cautions-missing", "tick the box, or measure again", "the box is not ticked"))
		return
	}
	p.appliedDone(w, r, p.desk.Reapply(context.WithoutCancel(r.Context()), p.who(r)))
}

func (p *page) doUndo(w http.ResponseWriter, r *http.Request) {
	p.appliedDone(w, r, p.desk.Undo(context.WithoutCancel(r.Context()), p.who(r)))
}

// doResolve decides what a power cut left of an apply; or, where nothing of one
// is left, has the machine home and put back what a run switched off, which
// needs the person's word.
func (p *page) doResolve(w http.ResponseWriter, r *http.Request) {
	if p.desk.Applied().State != api.Unfinished && r.PostFormValue("clear") != "yes" {
		p.appliedDone(w, r, api.Errorf(http.StatusUnprocessableEntity, "cautions-missing", "look at the printer, then tick the box", "the box is not ticked"))
		return
	}
	p.appliedDone(w, r, p.desk.Resolve(context.WithoutCancel(r.Context()), api.Resolve{Choice: r.PostFormValue("choice")}, p.who(r)))
}

// doStop asks for a stop. Nothing is read from the form, so that nothing in it
// can keep the stop from going out.
func (p *page) doStop(w http.ResponseWriter, r *http.Request) {
	var ask api.AskStop
	_ = ask.ReadQuery(r.URL.Query())
	said, err := p.desk.Stop(context.WithoutCancel(r.Context()), ask, p.opts.By(r, "page"))
	s := p.begin(r, "Stop")
	s.View = said
	if err != nil {
		s.Notice = p.refusal(r, err)
	}
	p.show(w, r, "stopped", s)
}

// noDeadline lifts a deadline of the server.
var noDeadline time.Time
