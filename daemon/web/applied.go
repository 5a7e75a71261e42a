package web

import (
	"context"
	"net/http"

	"abbed/daemon/api"
)

func (s *site) appliedRoutes() []route {
	return []route{
		{method: http.MethodPost, path: "/api/v1/tables/{digest}/signoff", status: http.StatusOK, ask: s.signOff},
		{method: http.MethodPost, path: "/api/v1/tables/{digest}/apply", status: http.StatusAccepted, ask: s.apply},
		{method: http.MethodGet, path: "/api/v1/applied", status: http.StatusOK, ask: func(*http.Request) (any, error) {
			return s.desk.Applied(), nil
		}},
		{method: http.MethodPost, path: "/api/v1/applied/undo", status: http.StatusAccepted, ask: s.undo},
		{method: http.MethodPost, path: "/api/v1/applied/prove", status: http.StatusCreated, ask: s.prove},
		{method: http.MethodPost, path: "/api/v1/applied/reapply", status: http.StatusAccepted, ask: s.reapply},
		{method: http.MethodPost, path: "/api/v1/applied/resolve", status: http.StatusAccepted, ask: s.resolve},
	}
}

func (s *site) signOff(r *http.Request) (any, error) {
	so, err := body[api.SignOff](r)
	if err != nil {
		return nil, err
	}
	if so.Person, err = api.CheckPerson(so.Person); err != nil {
		return nil, err
	}
	return s.desk.SignOff(r.Context(), r.PathValue("digest"), so)
}

func (s *site) apply(r *http.Request) (any, error) {
	a, err := body[api.Apply](r)
	if err != nil {
		return nil, err
	}
	if a.Token == "" {
		return nil, badValue("%q: the token of an approval is wanted", "token")
	}
	if err := s.desk.Apply(withoutCancel(r), r.PathValue("digest"), a, s.who(r, "api")); err != nil {
		return nil, err
	}
	return s.desk.Applied(), nil
}

func (s *site) undo(r *http.Request) (any, error) {
	if err := noBody(r); err != nil {
		return nil, err
	}
	if err := s.desk.Undo(withoutCancel(r), s.who(r, "api")); err != nil {
		return nil, err
	}
	return s.desk.Applied(), nil
}

func (s *site) resolve(r *http.Request) (any, error) {
	c, err := body[api.Resolve](r)
	if err != nil {
		return nil, err
	}
	if c.Choice != "finish" && c.Choice != "take-back" {
		return nil, badValue("%q: finish or take-back is wanted, not %q", "choice", c.Choice)
	}
	if err := s.desk.Resolve(withoutCancel(r), c, s.who(r, "api")); err != nil {
		return nil, err
	}
	return s.desk.Applied(), nil
}

func (s *site) prove(r *http.Request) (any, error) {
	if err := noBody(r); err != nil {
		return nil, err
	}
	return s.desk.Prove(r.Context(), s.who(r, "api"))
}

func (s *site) reapply(r *http.Request) (any, error) {
	if err := noBody(r); err != nil {
		return nil, err
	}
	if err := s.desk.Reapply(withoutCancel(r), s.who(r, "api")); err != nil {
		return nil, err
	}
	return s.desk.Applied(), nil
}

// withoutCancel is the request's context for what must not end when the asker
// hangs up.
func withoutCancel(r *http.Request) context.Context { return context.WithoutCancel(r.Context()) }
