package web

import (
	"net/http"
	"net/url"
	"strconv"

	"abbed/daemon/api"
)

// benchRoutes are what is done beside the machine: tools, printing, measuring.
func (s *site) benchRoutes() []route {
	return []route{
		{method: http.MethodGet, path: "/api/v1/runs/{id}/repair", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			a, err := askRepair(r.URL.Query())
			if err != nil {
				return nil, err
			}
			return s.desk.Repair(r.PathValue("id"), a)
		}},
		{method: http.MethodGet, path: "/api/v1/proof-print", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			return s.desk.ProofPrint(r.URL.Query().Get("run"), r.URL.Query().Get("in_force"))
		}},
		{method: http.MethodPost, path: "/api/v1/runs/{id}/thickness", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			t, err := body[api.Thickness](r)
			if err != nil {
				return nil, err
			}
			return s.desk.Thickness(r.Context(), r.PathValue("id"), t, s.who(r, "api"))
		}},
		{method: http.MethodPost, path: "/api/v1/runs/{id}/readings", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			t, err := body[api.Readings](r)
			if err != nil {
				return nil, err
			}
			return s.desk.Readings(r.Context(), r.PathValue("id"), t, s.who(r, "api"))
		}},
	}
}

// askRepair reads the query: lengths in mm, supports as x,y with blanks
// between them.
func askRepair(q url.Values) (api.AskRepair, error) {
	var a api.AskRepair
	for name, into := range map[string]*float64{"mounting": &a.Mounting, "spacing": &a.Spacing, "width": &a.Width, "height": &a.Height, "rails": &a.Rails, "pitch": &a.Pitch} {
		if text := q.Get(name); text != "" {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil || v != 0 && !(v >= 0.01 && v <= 10000) { // 0: not said
				return a, badValue("%q: %.40q is no length in mm", name, text)
			}
			*into = v
		}
	}
	places, bad := api.ReadPlaces(q.Get("supports"))
	if bad != nil {
		bad.Text = "\"supports\": " + bad.Text
		return a, bad
	}
	a.Supports = places
	return a, nil
}
