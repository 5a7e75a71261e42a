package web

import (
	"net/http"

	"abbed/daemon/api"
)

// maxPoints is how many points one question about the gap may hold.
const maxPoints = 4000

func (s *site) resultRoutes() []route {
	return []route{
		{method: http.MethodGet, path: "/api/v1/runs/{id}/record", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			return s.desk.Record(r.PathValue("id"))
		}},
		{method: http.MethodGet, path: "/api/v1/runs/{id}/analysis", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			return s.desk.Analysis(r.PathValue("id"))
		}},
		{method: http.MethodPost, path: "/api/v1/runs/{id}/gap", status: http.StatusOK, ask: s.gap},
		{method: http.MethodGet, path: "/api/v1/runs/{id}/table", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			return s.desk.Table(r.PathValue("id"))
		}},
	}
}

// gap reads the points as lists, because Go fills a short pair with zeros and
// drops the end of a long one, and neither is what was asked.
func (s *site) gap(r *http.Request) (any, error) {
	asked, err := body[struct {
		Points [][]*float64 `json:"points"`
	}](r)
	if err != nil {
		return nil, err
	}
	if asked.Points == nil {
		return nil, badValue("%q: a list of [u, v] pairs is wanted", "points")
	}
	if len(asked.Points) > maxPoints {
		return nil, badValue("%q: %d points; at most %d at once", "points", len(asked.Points), maxPoints)
	}
	a := api.AskGap{Points: make([][2]float64, len(asked.Points))}
	for i, p := range asked.Points {
		if len(p) != 2 || p[0] == nil || p[1] == nil {
			return nil, badValue("\"points\": point %d is not two numbers: u and v, mm, are wanted", i)
		}
		a.Points[i] = [2]float64{*p[0], *p[1]}
	}
	return s.desk.Gap(r.PathValue("id"), a)
}
