package web

import (
	"net/http"
	"strconv"
	"strings"

	"abbed/daemon/api"
)

// maxLevers is how many levers one question may hold.
const maxLevers = 50

// lookRoutes look over several runs, and at another lever.
func (s *site) lookRoutes() []route {
	return []route{
		{method: http.MethodGet, path: "/api/v1/history", status: http.StatusOK, ask: func(*http.Request) (any, error) {
			return s.desk.History()
		}},
		{method: http.MethodGet, path: "/api/v1/runs/{id}/since/{earlier}", status: http.StatusOK, ask: func(r *http.Request) (any, error) {
			return s.desk.Compare(r.PathValue("earlier"), r.PathValue("id"))
		}},
		{method: http.MethodGet, path: "/api/v1/runs/{id}/levers", status: http.StatusOK, ask: s.levers},
	}
}

// levers reads ?lever=x,y (any number of them) and ?within=x0,y0,x1,y1.
func (s *site) levers(r *http.Request) (any, error) {
	a, err := AskedLevers(r.URL.Query()["lever"], r.URL.Query().Get("within"))
	if err != nil {
		return nil, err
	}
	return s.desk.Levers(r.PathValue("id"), a)
}

// AskedLevers reads levers written x,y and an area written x0,y0,x1,y1 (or ""),
// mm from the nozzle.
func AskedLevers(levers []string, within string) (api.AskLevers, error) {
	a := api.AskLevers{Levers: []api.XY{}}
	if len(levers) > maxLevers {
		return a, badValue("%q: %d levers; at most %d at once", "lever", len(levers), maxLevers)
	}
	for _, text := range levers {
		v, ok := lengths(text, 2)
		if !ok {
			return a, badValue("%q: %q is not x,y in mm, from nozzle to probe", "lever", text)
		}
		a.Levers = append(a.Levers, api.XY{X: v[0], Y: v[1]})
	}
	if within != "" {
		v, ok := lengths(within, 4)
		if !ok || v[2] < v[0] || v[3] < v[1] {
			return a, badValue("%q: %q is not x0,y0,x1,y1 in mm, from nozzle to probe, the smaller first", "within", within)
		}
		a.Within = &api.Rect{X0: v[0], Y0: v[1], X1: v[2], Y1: v[3]}
	}
	return a, nil
}

// lengths reads n lengths with commas between them, each within 300 mm.
func lengths(text string, n int) ([]float64, bool) {
	parts := strings.Split(text, ",")
	if len(parts) != n {
		return nil, false
	}
	out := make([]float64, n)
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || !(v >= -300 && v <= 300) {
			return nil, false
		}
		out[i] = v
	}
	return out, true
}
