package web

import (
	"net/http"

	"abbed/daemon/api"
	"abbed/daemon/web/page"
)

func (s *site) runRoutes() []route {
	return []route{
		{method: http.MethodPost, path: "/api/v1/runs", status: http.StatusCreated, ask: s.startRun},
		{method: http.MethodGet, path: "/api/v1/runs", status: http.StatusOK, ask: func(*http.Request) (any, error) {
			return s.desk.Runs()
		}},
		{method: http.MethodGet, path: "/api/v1/runs/{id}", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			return s.desk.Run(r.PathValue("id"))
		}},
		{method: http.MethodGet, path: "/api/v1/runs/{id}/events", serve: s.events},
		{method: http.MethodPost, path: "/api/v1/runs/{id}/confirm", status: http.StatusAccepted, ask: s.confirm},
		{method: http.MethodPost, path: "/api/v1/runs/{id}/withdraw", status: http.StatusOK, ask: s.withdraw},
		{method: http.MethodPost, path: "/api/v1/runs/{id}/answer", status: http.StatusAccepted, ask: s.answerPrompt, slow: true},
		{method: http.MethodPost, path: "/api/v1/runs/{id}/gauge", status: http.StatusOK, ask: s.gauge, slow: true},
		{method: http.MethodPost, path: "/api/v1/stop", status: http.StatusAccepted, ask: s.stop},
	}
}

func (s *site) startRun(r *http.Request) (any, error) {
	n, err := body[api.NewRun](r)
	if err != nil {
		return nil, err
	}
	if len(n.Steps) == 0 {
		return nil, badValue("%q: at least one step is wanted: repeat, gauging, survey, plate-turn, coupons, angles, reference", "steps")
	}
	return s.desk.StartRun(r.Context(), n, s.who(r, "api"))
}

// withdraw ends a run that nobody has confirmed.
func (s *site) withdraw(r *http.Request) (any, error) {
	if err := noBody(r); err != nil {
		return nil, err
	}
	id := r.PathValue("id")
	if err := s.desk.Withdraw(r.Context(), id, s.who(r, "api")); err != nil {
		return nil, err
	}
	return s.desk.Run(id)
}

func (s *site) confirm(r *http.Request) (any, error) {
	c, err := body[api.Confirm](r)
	if err != nil {
		return nil, err
	}
	if c.Person, err = api.CheckPerson(c.Person); err != nil {
		return nil, err
	}
	id := r.PathValue("id")
	if err := s.desk.Confirm(r.Context(), id, c); err != nil {
		return nil, err
	}
	return s.desk.Run(id)
}

func (s *site) answerPrompt(r *http.Request) (any, error) {
	a, err := body[api.AnswerPrompt](r)
	if err != nil {
		return nil, err
	}
	if a.Answer != "yes" && a.Answer != "no" {
		return nil, badValue("%q: yes or no is wanted, not %q", "answer", a.Answer)
	}
	id := r.PathValue("id")
	if err := s.desk.Answer(r.Context(), id, a, s.who(r, "api")); err != nil {
		return nil, err
	}
	return s.desk.Run(id)
}

func (s *site) gauge(r *http.Request) (any, error) {
	a, err := body[api.GaugeAction](r)
	if err != nil {
		return nil, err
	}
	if err := actable(a); err != nil {
		return nil, err
	}
	return s.desk.Gauge(r.Context(), r.PathValue("id"), a)
}

// actable checks that an action has what it needs.
func actable(a api.GaugeAction) error {
	switch a.Action {
	case "lower", "raise":
		if a.MM == nil {
			return badValue("%q: %s needs how far, mm", "mm", a.Action)
		}
		if !(*a.MM > 0) {
			return badValue("%q: %g mm; more than 0 is wanted", "mm", *a.MM)
		}
	case "record", "skip", "next", "forget":
		if a.MM != nil {
			return badValue("%q: %s takes none", "mm", a.Action)
		}
	default:
		return badValue("%q: lower, raise, record, skip, next or forget is wanted, not %q", "action", a.Action)
	}
	return nil
}

// stop asks for a stop. It reads no body and goes on when the asker hangs up:
// nothing that a request looks like may keep a stop from going out.
func (s *site) stop(r *http.Request) (any, error) {
	answer, err := s.desk.Stop(withoutCancel(r), s.who(r, "api"))
	if answer.Requested {
		answer.Text = page.StopSentence
	}
	return answer, err
}
