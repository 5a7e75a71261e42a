package web

import (
	"net/http"

	"abbed/daemon/api"
)

func (s *site) printerRoutes() []route {
	return []route{
		{method: http.MethodGet, path: "/api/v1/printer", status: http.StatusOK, ask: func(*http.Request) (any, error) {
			return s.desk.Printer(), nil
		}},
		{method: http.MethodGet, path: "/api/v1/check", status: http.StatusOK, ask: func(*http.Request) (any, error) {
			return s.desk.Check(), nil
		}},
		{method: http.MethodGet, path: "/api/v1/room", status: http.StatusOK, ask: func(*http.Request) (any, error) {
			return s.desk.Room()
		}},
		{method: http.MethodPost, path: "/api/v1/printer/open", status: http.StatusAccepted, ask: s.openPort},
	}
}

// openPort passes on the person's word that opening may reset the board.
func (s *site) openPort(r *http.Request) (any, error) {
	o, err := body[api.Open](r)
	if err != nil {
		return nil, err
	}
	if o.Person, err = api.CheckPerson(o.Person); err != nil {
		return nil, err
	}
	if err := s.desk.OpenPort(r.Context(), o); err != nil {
		return nil, err
	}
	return s.desk.Printer(), nil
}
