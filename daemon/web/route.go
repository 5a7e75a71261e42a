package web

import (
	"net/http"
	"runtime/debug"
	"slices"
	"strings"

	"abbed/daemon/api"
	"abbed/daemon/web/description"
)

// route is one method of one path. A route has either an ask, which is
// answered as JSON, or a serve, which writes for itself.
type route struct {
	method, path string
	// status of the answer when ask succeeds.
	status int
	ask    func(r *http.Request) (any, error)
	serve  http.HandlerFunc
	// slow: the answer may take as long as a move of the machine.
	slow bool
}

// describe serves the OpenAPI document.
func (s *site) describe(w http.ResponseWriter, _ *http.Request) {
	s.send(w, http.StatusOK, description.JSON())
}

// mount puts the routes on the mux, with an answer in JSON for every path and
// method under /api that is none.
func (s *site) mount(routes []route) {
	paths := map[string][]route{}
	for _, rt := range routes {
		paths[rt.path] = append(paths[rt.path], rt)
	}
	for path, methods := range paths {
		s.mux.HandleFunc(path, func(w http.ResponseWriter, r *http.Request) { s.dispatch(w, r, methods) })
	}
	s.mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, r, api.Errorf(http.StatusNotFound, "not-found",
			"the paths are listed in /api/openapi.json", "there is no %q here", r.URL.Path))
	})
}

// dispatch picks the route by its method. HEAD is GET without the body.
func (s *site) dispatch(w http.ResponseWriter, r *http.Request, methods []route) {
	method := r.Method
	if method == http.MethodHead {
		method = http.MethodGet
	}
	var allow []string
	for _, rt := range methods {
		if rt.method == method {
			s.run(w, r, rt)
			return
		}
		allow = append(allow, rt.method)
	}
	slices.Sort(allow)
	w.Header().Set("Allow", strings.Join(allow, ", "))
	s.refuse(w, r, api.Errorf(http.StatusMethodNotAllowed, "not-allowed",
		"the methods of a path are listed in /api/openapi.json", "%q takes %s, not %s",
		r.URL.Path, strings.Join(allow, " or "), r.Method))
}

// run serves one route.
func (s *site) run(w http.ResponseWriter, r *http.Request, rt route) {
	if rt.serve != nil {
		rt.serve(w, r)
		return
	}
	if rt.slow {
		patient(w)
	}
	body, err := rt.ask(r)
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	s.answer(w, r, rt.status, body)
}

// guarded keeps a panic of one request from taking its connection without a
// word: it is logged and answered 500.
func (s *site) guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			cause := recover()
			if cause == nil {
				return
			}
			if cause == http.ErrAbortHandler {
				panic(cause)
			}
			s.opts.Log.Error("web: a request panicked", "path", r.URL.Path, "cause", cause, "stack", string(debug.Stack()))
			s.refuse(w, r, errInternal)
		}()
		next.ServeHTTP(w, r)
	})
}
