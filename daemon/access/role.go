package access

import (
	"context"
	"net/http"
	"slices"
	"strings"
)

// Role is what a visitor may do; roles add up.
type Role uint8

// Roles.
const (
	// Look may read everything.
	Look Role = 1 << iota
	// Operate may move the machine: runs, gauging, answers.
	Operate
	// Sign may sign a table off, apply it, undo it.
	Sign

	// Nobody may do what loopback leaves open.
	Nobody Role = 0
	// Everything is the operator's.
	Everything = Look | Operate | Sign
)

// Can reports whether r holds all of need.
func (r Role) Can(need Role) bool { return r&need == need }

// String names the roles.
func (r Role) String() string {
	var names []string
	for _, n := range []struct {
		role Role
		name string
	}{{Look, "look"}, {Operate, "operate"}, {Sign, "sign"}} {
		if r.Can(n.role) {
			names = append(names, n.name)
		}
	}
	return strings.Join(names, " ")
}

// Visitor is who is behind a request.
type Visitor struct {
	// Name is for the audit: "token", "browser 1f3a", or "" for nobody known.
	Name string
	Role Role
	// Session identifies the session of a browser, "" otherwise.
	Session string
}

type visitorKey struct{}

// From returns the visitor behind a request's context; the zero Visitor if
// Guard did not pass it.
func From(ctx context.Context) Visitor {
	v, _ := ctx.Value(visitorKey{}).(Visitor)
	return v
}

// Who names the visitor behind a request, or "".
func Who(r *http.Request) string { return From(r.Context()).Name }

func with(r *http.Request, v Visitor) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), visitorKey{}, v))
}

// stops are the paths of the stop request: the API's and the page's form.
var stops = []string{"/api/v1/stop", "/do/stop"}

// operates are the beginnings of the paths that move the machine and sign
// nothing. A change under any other path needs every role, so that a path that
// is forgotten here is closed rather than open.
var operates = []string{"/api/v1/printer/", "/api/v1/runs", "/api/v1/applied/prove", "/do/open", "/do/run", "/do/prove"}

// need is what a request needs, and whether loopback is enough for it.
func need(r *http.Request) (role Role, open bool) {
	path := r.URL.Path
	switch r.Method {
	case http.MethodGet, http.MethodHead, http.MethodOptions:
		return Look, true
	case http.MethodPost:
		if slices.Contains(stops, path) {
			return Operate, true
		}
		if isGap(path) {
			return Look, true
		}
	}
	if strings.HasSuffix(path, "/signoff") {
		return Everything, false
	}
	for _, begins := range operates {
		if path == begins || strings.HasPrefix(path, strings.TrimSuffix(begins, "/")+"/") {
			return Operate, false
		}
	}
	return Everything, false
}

// isGap reports whether path is /api/v1/runs/{id}/gap with a plain id.
func isGap(path string) bool {
	id, ok := strings.CutPrefix(path, "/api/v1/runs/")
	if !ok {
		return false
	}
	if id, ok = strings.CutSuffix(id, "/gap"); !ok || id == "" {
		return false
	}
	return !strings.ContainsFunc(id, func(c rune) bool {
		return c != '-' && (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z')
	})
}
